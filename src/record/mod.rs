//! What people write: one type per kind, ids, addresses, places in the text, faults, byte-preserving edits.

pub mod sensitivity;
