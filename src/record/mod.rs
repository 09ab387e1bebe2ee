//! What people write: one type per kind, ids, addresses, places in the text, faults, byte-preserving edits.

mod address;
mod fault;
mod figure;
mod kinds;
mod reference;
pub mod sensitivity;
mod words;

pub use address::{Address, RecordKind};
pub use fault::{Fault, Level, Place, Why};
pub use figure::Figure;
pub use kinds::*;
pub use reference::*;
pub use words::{Day, Free, OneOrMany, Sourced, Text};
