//! What people write: one type per kind, ids, addresses, places in the text, faults, byte-preserving edits.

mod address;
mod attributes;
pub mod edit;
mod emit;
mod fault;
mod figure;
mod form;
mod hints;
mod kinds;
mod material_fields;
pub(crate) mod once;
mod phrase;
mod place;
mod read;
mod reference;
pub mod render;
#[cfg(test)]
mod samples;
pub mod schema;
pub mod sensitivity;
pub(crate) mod shape;
mod tree;
mod unique;
mod walk;
mod wording;
mod words;

pub use address::{Address, RecordKind, import_of, is_id, named, without_import};
pub use attributes::Attributes;
pub use fault::{Fault, Level, Place, Why};
pub use figure::{Figure, exact_in};
pub use form::{Form, KeyForm, Leaf};
pub use kinds::*;
pub use phrase::Phrase;
pub use place::{PlaceIndex, Stretch, places};
pub use read::{MAX_BYTES, ReadOutcome, RecordType, read, read_form};
pub use reference::*;
pub use walk::Named;
pub use words::{Day, Free, OneOrMany, Sourced, Text};
