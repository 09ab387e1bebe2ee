//! Two evaluated ledgers side by side: what differs and what it un-proves.

pub mod approved;
pub mod balance;
pub mod carried;
pub mod compare;
pub mod cost;
pub mod decide;
pub mod diff;
pub mod draft;
pub mod explain;
pub mod facets;
pub mod footprint;
pub mod found;
pub mod impact;
pub mod import;
pub mod joint;
pub mod leeway;
pub mod margins;
pub mod past;
pub mod predicted;
pub mod rebase;
pub(crate) mod same;
pub mod stale;
pub mod study;
pub mod turns;
pub mod verdict_paragraph;
pub mod weaker;
