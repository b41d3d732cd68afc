//! mixed
