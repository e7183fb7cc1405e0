//! Floats against values computed apart from the library, and against themselves.

mod two_floats;
