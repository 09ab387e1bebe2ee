//! View models; terminal text and JSON.

pub mod mass;
pub mod table;
