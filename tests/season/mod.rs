//! Reading and tidying.
