//! Two evaluated ledgers side by side: what differs and what it un-proves.

pub mod balance;
pub mod decide;
pub mod diff;
pub mod explain;
pub mod facets;
pub mod impact;
pub mod margins;
pub(crate) mod same;
pub mod study;
pub mod verdict_paragraph;
