//! The closed frame section of a panel, with glazing as one wall.

use super::{part, word_set};
use crate::quantity::*;
use crate::record::Text;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::collections::BTreeMap;

part! {
    /// One wall between two corners: exactly one of `zone` and `joint`.
    pub struct SectionWall {
        /// Its name within the section; the zone's or joint's where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub name: Option<Text>,
        /// The corner where it begins.
        pub from: Text,
        /// The corner where it ends.
        pub to: Text,
        /// A zone of the panel: its laminate, x along the member, or its sheet.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub zone: Option<Text>,
        /// A joint of the panel: a spring in series, whose corners may lie at one place.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub joint: Option<Text>,
    }
}

word_set! {
    /// How long a load lasts.
    pub enum LoadDuration {
        /// Gusts, slaps, landings: the sheet's short-term modulus.
        Short = "short",
        /// Preload, storage, pressure held: the sheet creeps.
        Long = "long",
    }
}

part! {
    /// One limit load case of the section.
    pub struct SectionLoad {
        /// Its name.
        pub name: Text,
        /// Torque about the member, from y to z.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub torque: Option<Moment>,
        /// Vy, Vz.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shear: Option<[Force; 2]>,
        /// Where the shear acts: y, z; at the shear centre where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at: Option<[Length; 2]>,
        /// My, Mz about the centroid, right-handed: positive My stretches the upper side, positive Mz the left.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub moment: Option<[Moment; 2]>,
        /// Along the member, tension positive.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub axial: Option<Force>,
        /// Temperature of the sheet in this case; its modulus is taken there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub temperature: Option<Temperature>,
        /// short (where absent) or long.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub duration: Option<LoadDuration>,
        /// Factor on limit load.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub factor: Option<f64>,
        /// Special factor on top, 14 CFR 23.2265.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub special_factor: Option<f64>,
    }
}

part! {
    /// The thin-walled section: y to the right, z up, the member along x.
    pub struct SectionShape {
        /// Corners by name: y, z on the walls' middle lines.
        #[serde(deserialize_with = "crate::record::unique::map")]
        pub corners: BTreeMap<String, [Length; 2]>,
        /// Its walls.
        pub walls: Vec<SectionWall>,
        /// Limit load cases.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub loads: Vec<SectionLoad>,
    }
}

/// A section as it was read, and as it was written: evidence holds the text, in the order of its keys.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameSection {
    shape: SectionShape,
    written: serde_yaml::Value,
}

/// What a wall is made of, as its key.
const MADE_OF: [&str; 2] = ["zone", "joint"];

impl FrameSection {
    /// Writes the section as evidence holds it: zones and joints by their number in written order (`z2`, `j1`), since
    /// a name is no property; names of walls left out.
    pub fn canonical(&self, zones: &[&str], joints: &[&str]) -> String {
        let mut value = serde_json::to_value(&self.written).unwrap_or_default();
        for wall in walls_of(&mut value) {
            // In the order of the keys that are left.
            wall.shift_remove("name");
            for (key, names, letter) in [(MADE_OF[0], zones, 'z'), (MADE_OF[1], joints, 'j')] {
                let at =
                    wall.get(key).and_then(|name| names.iter().position(|own| name.as_str() == Some(own)));
                if let Some(at) = at {
                    wall.insert(key.to_string(), format!("{letter}{}", at + 1).into());
                }
            }
        }
        serde_json::to_string(&value).unwrap_or_else(|_| "unstated".to_string())
    }

    /// Reads what [`FrameSection::canonical`] wrote, under other loads; `None` where it is no section of these zones
    /// and joints.
    pub fn of_canonical(text: &str, zones: &[&str], joints: &[&str], loads: &[SectionLoad]) -> Option<Self> {
        let mut value: serde_json::Value = serde_json::from_str(text).ok()?;
        for wall in walls_of(&mut value) {
            for (key, names, letter) in [(MADE_OF[0], zones, 'z'), (MADE_OF[1], joints, 'j')] {
                let Some(word) = wall.get(key).and_then(|own| own.as_str()) else { continue };
                let at: usize = word.strip_prefix(letter)?.parse().ok()?;
                let name = names.get(at.checked_sub(1)?)?;
                wall.insert(key.to_string(), (*name).into());
            }
        }
        value.as_object_mut()?.insert("loads".to_string(), serde_json::to_value(loads).ok()?);
        serde_json::from_value(value).ok()
    }
}

fn walls_of(
    value: &mut serde_json::Value,
) -> impl Iterator<Item = &mut serde_json::Map<String, serde_json::Value>> {
    let walls = value.get_mut("walls").and_then(|own| own.as_array_mut());
    walls.into_iter().flatten().filter_map(|wall| wall.as_object_mut())
}

impl std::ops::Deref for FrameSection {
    type Target = SectionShape;
    fn deref(&self) -> &SectionShape {
        &self.shape
    }
}

impl<'de> Deserialize<'de> for FrameSection {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let written = serde_yaml::Value::deserialize(deserializer)?;
        let shape = serde_yaml::from_value(written.clone()).map_err(serde::de::Error::custom)?;
        Ok(Self { shape, written })
    }
}

impl Serialize for FrameSection {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.written.serialize(serializer)
    }
}

impl JsonSchema for FrameSection {
    fn schema_name() -> Cow<'static, str> {
        SectionShape::schema_name()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        SectionShape::json_schema(generator)
    }
}
