//! The rules of the hook over two evaluations.
