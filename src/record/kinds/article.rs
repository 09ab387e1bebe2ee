//! What is built: panels with their zones and joints, assemblies, weighings.

use super::{Class, Disposition, FrameSection, part, record, word_set};
use crate::quantity::*;
use crate::record::{
    AssemblyRef, Day, FinishRef, MaterialRef, PanelRef, ProcessRef, RecipeRef, Sourced, Text, ToolRef,
};

word_set! {
    /// Whether another load path remains when this one fails.
    pub enum LoadPath {
        /// None remains: A-basis.
        Single = "single",
        /// Another remains: B-basis.
        Redundant = "redundant",
    }
}

word_set! {
    /// Which faces are painted.
    pub enum Painted {
        /// The outer one.
        One = "one",
        /// Both.
        Both = "both",
    }
}

word_set! {
    /// How well a mass is known.
    pub enum Maturity {
        /// From experience.
        Estimated = "estimated",
        /// From drawings.
        Calculated = "calculated",
        /// From the scale.
        Weighed = "weighed",
    }
}

word_set! {
    /// How a structural bond meets 14 CFR 23.573(a)(5).
    pub enum BondRoute {
        /// Design features stop a disbond.
        Arrest = "arrest",
        /// Each article is proof loaded.
        Proof = "proof",
        /// Repeatable inspection that assures strength.
        Inspection = "inspection",
    }
}

part! {
    /// A zone made of solid sheet.
    pub struct ZoneSheet {
        /// The sheet.
        pub material: MaterialRef,
        /// Its thickness.
        pub thickness: Length,
        /// Whether it carries load.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub structural: Option<bool>,
    }
}

part! {
    /// What the place of use exposes it to.
    pub struct Exposure {
        /// indoor, bay, outdoor, or another word.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub zone: Option<Text>,
        /// Lightning zone, such as 2A.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lightning: Option<Text>,
        /// Whether it faces an occupied compartment.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub compartment: Option<bool>,
        /// Fluids that reach it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub fluids: Vec<Text>,
        /// Moisture, in the words of showings' environments.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub moisture: Option<Text>,
        /// Lowest temperature.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub minimum: Option<Temperature>,
        /// Whether the sun reaches it; yes where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub sun: Option<bool>,
    }
}

part! {
    /// One zone of a panel.
    pub struct Zone {
        /// Its name within the panel.
        pub name: Text,
        /// Developed and trimmed area.
        pub area: Area,
        /// The laminate recipe.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub recipe: Option<RecipeRef>,
        /// The paint recipe.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub finish: Option<FinishRef>,
        /// Solid sheet instead of a laminate.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub sheet: Option<ZoneSheet>,
        /// Where its mass acts: x, y, z.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub centroid: Option<[Length; 3]>,
        /// Replaces the panel's exposure key by key.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub exposure: Option<Exposure>,
        /// Replaces the panel's painted faces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub painted: Option<Painted>,
        /// Smallest radius that the laminate turns.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub radius: Option<Length>,
    }
}

part! {
    /// One joint of a panel; with `process` and `between` it is a bond that must be proved.
    pub struct Joint {
        /// Its name within the panel.
        pub name: Text,
        /// The adhesive.
        pub adhesive: MaterialRef,
        /// How and where it is bonded.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub process: Option<ProcessRef>,
        /// The two zones that it joins.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub between: Option<[Text; 2]>,
        /// structural or another word.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub role: Option<Text>,
        /// How a structural bond is shown.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub route: Option<BondRoute>,
        /// Length.
        pub length: Length,
        /// Width.
        pub width: Length,
        /// Thickness of the bond line.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub thickness: Option<Length>,
        /// Adhesive squeezed out, as a share.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub squeeze_out: Option<Fraction>,
        /// Where its mass acts.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub centroid: Option<[Length; 3]>,
    }
}

part! {
    /// Edge close-out, seal, trim.
    pub struct Edge {
        /// Its name within the panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub name: Option<Text>,
        /// The part, with a mass per length.
        pub part: MaterialRef,
        /// Length.
        pub length: Length,
        /// Where its mass acts.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub centroid: Option<[Length; 3]>,
    }
}

part! {
    /// Inserts, latches, hinges.
    pub struct Fitting {
        /// Its name within the panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub name: Option<Text>,
        /// The part, with a mass each.
        pub part: MaterialRef,
        /// How many; one where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub count: Option<u32>,
        /// Where: x, y, z.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at: Option<[Length; 3]>,
    }
}

part! {
    /// Holes in the laminate.
    pub struct Holes {
        /// The largest diameter.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub largest: Option<Length>,
    }
}

part! {
    /// One limit load case.
    pub struct Load {
        /// Its name.
        pub name: Text,
        /// Pressure on the face.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub pressure: Option<Stress>,
        /// Nx, Ny, Nxy.
        #[serde(rename = "N", default, skip_serializing_if = "Option::is_none")]
        pub n: Option<[LineForce; 3]>,
        /// Mx, My, Mxy.
        #[serde(rename = "M", default, skip_serializing_if = "Option::is_none")]
        pub m: Option<[Force; 3]>,
        /// Temperature of the laminate in this case; it is free of stress at the highest hold of its cure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub temperature: Option<Temperature>,
        /// The zone that carries N and M; every zone with a laminate where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub zone: Option<Text>,
        /// Factor on limit load.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub factor: Option<f64>,
        /// Special factor on top, 14 CFR 23.2265.
        #[serde(default, deserialize_with = "crate::record::unique::finite", skip_serializing_if = "Option::is_none")]
        pub special_factor: Option<f64>,
    }
}

part! {
    /// Strains that the panel is sized by.
    pub struct DesignStrain {
        /// Tension.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tension: Option<Sourced<Strain>>,
        /// Compression.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub compression: Option<Sourced<Strain>>,
        /// Shear.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shear: Option<Sourced<Strain>>,
    }
}

part! {
    /// The flat plate that stands for the panel.
    pub struct Plate {
        /// Along x.
        pub length: Length,
        /// Along y.
        pub width: Length,
        /// How its edges are held: simply-supported (where absent) or clamped.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub support: Option<Text>,
        /// The zone whose laminate it is made of; the first with a laminate where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub zone: Option<Text>,
    }
}

part! {
    /// Static balance of a movable surface.
    pub struct Balance {
        /// A point on the hinge line: x, y, z.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub hinge: Option<[Length; 3]>,
        /// Largest moment of mass aft of the hinge.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub limit: Option<MassMoment>,
    }
}

record! {
    /// One panel, released or not.
    pub struct Panel {
        /// The mass group.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub group: Option<Text>,
        /// How many; counts only for panels in no assembly.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub quantity: Option<u32>,
        /// Whether it may be built to fly.
        #[serde(default)]
        pub released: bool,
        /// The milestone that it is released for; for everything where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub released_for: Option<Text>,
        /// Whether structure relies on it; structural where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub class: Option<Class>,
        /// Single or redundant.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub load_path: Option<LoadPath>,
        /// The mould.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tool: Option<ToolRef>,
        /// Its zones.
        pub zones: Vec<Zone>,
        /// Its joints.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub joints: Vec<Joint>,
        /// Its edges.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub edges: Vec<Edge>,
        /// Its fittings.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub fittings: Vec<Fitting>,
        /// Its holes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub holes: Option<Holes>,
        /// Extra area of plies and mesh for laps, darts, returns.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub overlap: Option<Fraction>,
        /// Painted faces; one where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub painted: Option<Painted>,
        /// What its place exposes it to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub exposure: Option<Exposure>,
        /// Limit load cases.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub loads: Vec<Load>,
        /// Strains that it is sized by.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub design_strain: Option<DesignStrain>,
        /// The plate that stands for it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub plate: Option<Plate>,
        /// The closed frame section with glazing as one wall.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub section: Option<FrameSection>,
        /// Balance of a movable surface.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub balance: Option<Balance>,
        /// How well its mass is known; estimated where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub maturity: Option<Maturity>,
    }
}

part! {
    /// One child of an assembly.
    pub struct Child {
        /// A panel.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub panel: Option<PanelRef>,
        /// An assembly.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub assembly: Option<AssemblyRef>,
        /// A part.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub part: Option<MaterialRef>,
        /// How many; the panel's quantity where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub count: Option<u32>,
        /// Where its origin lies.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at: Option<[Length; 3]>,
    }
}

record! {
    /// An assembly of panels, parts and assemblies.
    pub struct Assembly {
        /// What it is made of.
        pub children: Vec<Child>,
        /// The mass group of its own parts.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub group: Option<Text>,
        /// What it may weigh.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub budget: Option<Mass>,
    }
}

word_set! {
    /// In what state it was weighed.
    pub enum Condition {
        /// Trimmed, no fittings, no paint.
        Trimmed = "trimmed",
        /// Complete, no paint.
        Bare = "bare",
        /// Filler and primer on.
        Primed = "primed",
        /// Complete.
        Painted = "painted",
    }
}

part! {
    /// What the ledger said when it was built.
    pub struct AsBuilt {
        /// The commit it was built to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub commit: Option<Text>,
        /// The mass predicted then, in the weighed condition.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub predicted: Option<Mass>,
    }
}

record! {
    /// One panel on the scale.
    pub struct Weighing {
        /// The panel.
        pub panel: PanelRef,
        /// Its serial.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub serial: Option<Text>,
        /// What the scale showed.
        pub mass: Mass,
        /// When.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub on: Option<Day>,
        /// What was predicted for it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub as_built: Option<AsBuilt>,
        /// In what state.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub condition: Option<Condition>,
        /// Why it is off its prediction, where it is further off than the ledger lets pass without words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub explained: Option<String>,
        /// What was decided of a piece that is on hold for its mass.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub disposition: Option<Disposition>,
    }
}
