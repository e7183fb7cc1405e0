//! liquid
