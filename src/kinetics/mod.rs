//! kinetics
