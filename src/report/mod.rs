//! View models; terminal text and JSON. Nothing here decides: it shows what other rooms found.

pub mod assumptions;
pub mod basis;
pub mod calc;
pub mod compare;
pub mod cost;
pub mod decision;
pub mod duty;
pub mod faults;
#[cfg(test)]
pub(crate) mod fixture;
pub mod gaps;
pub mod gate;
pub mod head;
pub mod history;
pub mod impact;
pub mod joint;
pub mod keep;
pub mod laminate;
pub mod leeway;
pub mod margins;
pub mod mass;
pub mod next;
pub mod page;
pub mod pages;
pub mod panel;
pub(crate) mod plan;
pub(crate) mod reason;
pub mod row;
pub mod specimens;
pub mod standing;
pub mod study;
pub mod table;
pub mod trials;
pub mod weighings;
