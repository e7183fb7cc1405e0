//! The command line: thin.
