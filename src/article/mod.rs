//! Records turned into stacks, coats and zones; subjects; configurations.
//!
//! Everything here looks records up in a [`crate::ledger::Ledger`] and never judges: what it finds is
//! handed to the engineering rooms and to `qualify`.

mod align;
mod configuration;
mod configurator;
#[cfg(test)]
pub(crate) mod fixture;
mod key;
mod layers;
mod name;
pub mod sight;
mod skin;
pub mod stack;
mod subjects;
mod trace;
pub mod weigh;

pub use align::{Aligned, Likeness, align};
pub use configuration::{Configuration, FORM, Part, Row};
pub use configurator::{
    Claims, Configurator, Laid, designation, exposure_of, film_build, lamina_in, reduced_angle,
};
pub use key::{Key, Limit, ORDER};
pub use layers::{ArticleError, LayerRole, StackLayer, expand, layer_role};
pub use name::Name;
pub use sight::{Cause, Nudge, Sight};
pub use skin::{EMITTANCE, NoSkin, Skin, skin};
pub use subjects::{Face, Sites, Subject, Uses, face_of, joint_subject, uses, zone_named, zones_of};
pub use trace::trace;
