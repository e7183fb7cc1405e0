//! Floats against values computed apart from the library, and against themselves.

mod hulls;
mod two_floats;
mod wall;
