//! View models; terminal text and JSON.

pub mod faults;
pub mod mass;
pub mod table;
