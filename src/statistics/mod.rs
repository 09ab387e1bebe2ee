//! Tolerance factors and equivalence limits.
