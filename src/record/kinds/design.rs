//! What things are made of and how: materials, processes, tools, finishes, recipes.

use super::{part, record, word_set};
use crate::quantity::*;
use crate::record::{MaterialRef, OneOrMany, ProcessRef, Sourced, Text, ToolRef};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};
use std::borrow::Cow;
use std::fmt;

word_set! {
    /// What a material is; selects its fields.
    pub enum MaterialKind {
        /// Dry reinforcement.
        Fabric = "fabric",
        /// Matrix for dry reinforcement.
        Resin = "resin",
        /// Reinforcement with its resin in it.
        Prepreg = "prepreg",
        /// Sandwich core.
        Core = "core",
        /// Film or paste adhesive.
        Adhesive = "adhesive",
        /// Metal mesh or foil for lightning.
        Mesh = "mesh",
        /// Surfacing film.
        Surfacing = "surfacing",
        /// One coat's product of a finish.
        Coating = "coating",
        /// Glazing or another solid sheet.
        Sheet = "sheet",
        /// Inserts, latches, seals.
        Part = "part",
    }
}

word_set! {
    /// The kind of fibre.
    pub enum FibreType {
        /// Carbon.
        Carbon = "carbon",
        /// Glass.
        Glass = "glass",
        /// Aramid.
        Aramid = "aramid",
        /// Any other.
        Other = "other",
    }
}

word_set! {
    /// What a coating does in the build.
    pub enum CoatRole {
        /// Fills and is sanded.
        Filler = "filler",
        /// Primes.
        Primer = "primer",
        /// Gives colour: the base coat.
        Colour = "colour",
        /// Clear coat on top.
        Clear = "clear",
    }
}

part! {
    /// The fibre of a fabric or prepreg.
    pub struct Fibre {
        /// Designation of the fibre; part of the material's identity.
        pub name: Text,
        /// carbon, glass, aramid, other.
        #[serde(rename = "type")]
        pub kind: FibreType,
        /// Density of the fibre.
        pub density: Density,
        /// Fibre areal mass (prepreg).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub areal: Option<ArealMass>,
    }
}

part! {
    /// The resin in a prepreg.
    pub struct PrepregResin {
        /// Designation of the resin; part of the material's identity.
        pub name: Text,
        /// Density of the cured resin.
        pub density: Density,
        /// Resin content: share of the mass.
        pub content: Fraction,
        /// Family, such as epoxy.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub family: Option<Text>,
    }
}

part! {
    /// Elastic and thermal constants of a ply, axes 1 along the fibres (warp).
    pub struct Elastic {
        /// Modulus along 1.
        #[serde(rename = "E1")]
        pub e1: Sourced<Stress>,
        /// Modulus along 2.
        #[serde(rename = "E2")]
        pub e2: Sourced<Stress>,
        /// In-plane shear modulus.
        #[serde(rename = "G12")]
        pub g12: Sourced<Stress>,
        /// Poisson's ratio 12.
        pub nu12: Ratio,
        /// Transverse shear modulus 13.
        #[serde(rename = "G13", default, skip_serializing_if = "Option::is_none")]
        pub g13: Option<Sourced<Stress>>,
        /// Transverse shear modulus 23.
        #[serde(rename = "G23", default, skip_serializing_if = "Option::is_none")]
        pub g23: Option<Sourced<Stress>>,
        /// Expansion along 1.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cte1: Option<Expansion>,
        /// Expansion along 2.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cte2: Option<Expansion>,
        /// Expansion through the thickness, which springs corners in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cte3: Option<Expansion>,
    }
}

part! {
    /// Strengths of a ply, all positive.
    pub struct Strength {
        /// Tension along 1.
        #[serde(rename = "Xt", default, skip_serializing_if = "Option::is_none")]
        pub xt: Option<Sourced<Stress>>,
        /// Compression along 1.
        #[serde(rename = "Xc", default, skip_serializing_if = "Option::is_none")]
        pub xc: Option<Sourced<Stress>>,
        /// Tension along 2.
        #[serde(rename = "Yt", default, skip_serializing_if = "Option::is_none")]
        pub yt: Option<Sourced<Stress>>,
        /// Compression along 2.
        #[serde(rename = "Yc", default, skip_serializing_if = "Option::is_none")]
        pub yc: Option<Sourced<Stress>>,
        /// In-plane shear.
        #[serde(rename = "S", default, skip_serializing_if = "Option::is_none")]
        pub s: Option<Sourced<Stress>>,
    }
}

impl Strength {
    /// Returns all figures by the keys that they are written under.
    pub fn figures(&self) -> [(&'static str, Option<&Sourced<Stress>>); 5] {
        [
            ("Xt", self.xt.as_ref()),
            ("Xc", self.xc.as_ref()),
            ("Yt", self.yt.as_ref()),
            ("Yc", self.yc.as_ref()),
            ("S", self.s.as_ref()),
        ]
    }
}

part! {
    /// A modulus at a temperature.
    pub struct ModulusAt {
        /// Temperature.
        pub temperature: Temperature,
        /// Modulus there.
        #[serde(rename = "E")]
        pub e: Stress,
    }
}

record! {
    /// One constituent: fabric, resin, prepreg, core, adhesive, mesh, surfacing, coating, sheet or part.
    pub struct Material {
        /// What it is; selects the other fields.
        pub kind: MaterialKind,
        /// What counts as its identity; the record's id where absent. Fabrics and prepregs are their fibre and resin names.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub designation: Option<Text>,
        /// Ids that this record had before a rename without a designation.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub formerly: Vec<Text>,
        /// Areal mass: of dry fabric; of film, mesh, surfacing as delivered.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub areal: Option<ArealMass>,
        /// The fibre (fabric, prepreg).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub fibre: Option<Fibre>,
        /// Weave of a fabric or prepreg; honeycomb, foam, balsa of a core.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub form: Option<Text>,
        /// Thickness after cure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cured_thickness: Option<Length>,
        /// Density: of resin, core, paste, sheet.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub density: Option<Density>,
        /// Family of a resin, such as epoxy.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub family: Option<Text>,
        /// Glass transition, dry.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub dry_tg: Option<Temperature>,
        /// Glass transition, wet.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub wet_tg: Option<Temperature>,
        /// The resin of a prepreg.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub resin: Option<PrepregResin>,
        /// Longest time out of the freezer.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub out_life: Option<Duration>,
        /// How and where the prepreg is impregnated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub impregnation: Option<Text>,
        /// Cell size of a core.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cell: Option<Length>,
        /// Resin that a core takes up per face from a dry neighbour.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub resin_uptake: Option<ArealMass>,
        /// Resin that fills a mesh with a dry neighbour.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub resin_fill: Option<ArealMass>,
        /// Highest service temperature of a core.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub service_temperature: Option<Temperature>,
        /// Metal of a mesh.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub metal: Option<Text>,
        /// Density of the resin of a surfacing film.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub resin_density: Option<Density>,
        /// Density of the dry film of a coating.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub dry_density: Option<Density>,
        /// What a coating does: filler, primer, colour, clear.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub role: Option<CoatRole>,
        /// Solids by volume of a coating as applied.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub solids_by_volume: Option<Fraction>,
        /// Share of the sprayed coating that reaches the part.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub transfer: Option<Fraction>,
        /// Share of what is bought that is cut off or thrown away; of layers and sheets the ledger's rate where
        /// absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub scrap: Option<Fraction>,
        /// Young's modulus (sheet; core, mesh, surfacing film and adhesive in their plane).
        #[serde(rename = "E", default, skip_serializing_if = "Option::is_none")]
        pub e: Option<Stress>,
        /// Shear modulus (sheet).
        #[serde(rename = "G", default, skip_serializing_if = "Option::is_none")]
        pub g: Option<Stress>,
        /// Poisson's ratio (sheet; core, mesh, surfacing film and adhesive in their plane).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub nu: Option<Ratio>,
        /// Thermal expansion.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cte: Option<Expansion>,
        /// Glass transition of a sheet.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tg: Option<Temperature>,
        /// Tensile strength (sheet, core).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tensile_strength: Option<Stress>,
        /// Compressive strength (core).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub compressive_strength: Option<Stress>,
        /// Compressive modulus through the thickness (core).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub compressive_modulus: Option<Stress>,
        /// Shear modulus (adhesive; core, along the ribbon of a honeycomb).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shear_modulus: Option<Stress>,
        /// Shear modulus of a core across; the same as along where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shear_modulus_across: Option<Stress>,
        /// Shear strength (adhesive; core, along the ribbon of a honeycomb).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shear_strength: Option<Stress>,
        /// Shear strength of a core across; the same as along where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub shear_strength_across: Option<Stress>,
        /// Stress at which a sheet crazes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub craze_stress: Option<Stress>,
        /// Moduli of a sheet at temperatures.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub modulus_at: Vec<ModulusAt>,
        /// Creep of a sheet under long loads: strain gained over elastic strain.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub creep: Option<Ratio>,
        /// Mass of a part.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub mass: Option<Mass>,
        /// Mass per length of a part.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub linear_mass: Option<LinearMass>,
        /// Elastic constants of the cured ply.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub lamina: Option<Elastic>,
        /// Strengths of the cured ply.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub strength: Option<Strength>,
        /// Who supplies it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub supplier: Option<Text>,
        /// Where it is made.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub site: Option<Text>,
        /// Moisture diffusivity.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub diffusivity: Option<Diffusivity>,
    }
}

word_set! {
    /// How parts are made.
    pub enum Method {
        /// Vacuum bag in an oven.
        Oven = "oven",
        /// Autoclave.
        Autoclave = "autoclave",
        /// Resin drawn into dry fabric.
        Infusion = "infusion",
        /// Laid up wet.
        WetLayup = "wet-layup",
        /// Heated press.
        Press = "press",
        /// Bonding.
        Bond = "bond",
        /// Spraying.
        Spray = "spray",
    }
}

part! {
    /// One segment of a cycle: a ramp to a temperature, and the dwell there.
    pub struct CureSegment {
        /// Heating rate.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub ramp: Option<HeatingRate>,
        /// Temperature of the dwell.
        pub to: Temperature,
        /// Length of the dwell.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub hold: Option<Duration>,
    }
}

/// A cycle: a list of segments, one segment, or `none`.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[serde(transparent)]
pub struct Cycle(pub Vec<CureSegment>);

impl<'de> Deserialize<'de> for Cycle {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct V;
        impl<'de> Visitor<'de> for V {
            type Value = Cycle;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a list of segments `{ramp, to, hold}` or `none`")
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Cycle, E> {
                match text.trim() {
                    "none" => Ok(Cycle::default()),
                    other => Err(E::invalid_value(serde::de::Unexpected::Str(other), &self)),
                }
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Cycle, A::Error> {
                let mut all = Vec::new();
                while let Some(one) = seq.next_element()? {
                    all.push(one);
                }
                Ok(Cycle(all))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Cycle, A::Error> {
                CureSegment::deserialize(serde::de::value::MapAccessDeserializer::new(map))
                    .map(|one| Cycle(vec![one]))
            }
        }
        deserializer.deserialize_any(V)
    }
}

impl JsonSchema for Cycle {
    fn schema_name() -> Cow<'static, str> {
        "Cycle".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let segment = generator.subschema_for::<CureSegment>();
        json_schema!({
            "description": "a list of segments {ramp, to, hold}, one segment, or none",
            "anyOf": [{ "type": "array", "items": segment }, segment, { "const": "none" }]
        })
    }
}

record! {
    /// A process is these values; it has no identity of its own.
    pub struct Process {
        /// How parts are made.
        pub method: Method,
        /// The cure cycle.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cure: Option<Cycle>,
        /// Pressure during cure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub pressure: Option<Stress>,
        /// Vacuum during cure, as pressure below ambient.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub vacuum: Option<Stress>,
        /// The post-cure; absent means none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub postcure: Option<Cycle>,
        /// Longest out-time allowed before cure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub max_out_time: Option<Duration>,
        /// Resin taken off by the bleeder, over the whole laminate.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bleed: Option<ArealMass>,
        /// Where it is done.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub site: Option<Text>,
        /// Preparation of surfaces before bonding or painting.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub surface_preparation: Option<Text>,
    }
}

word_set! {
    /// Place of a tool in the chain.
    pub enum ToolKind {
        /// What moulds are taken from.
        Pattern = "pattern",
        /// What parts are made in.
        Mould = "mould",
    }
}

part! {
    /// How often parts are pulled from a mould.
    pub struct Pulls {
        /// Pulls that it should last.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub expected: Option<u32>,
        /// Pulls made so far.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub made: Option<u32>,
    }
}

record! {
    /// A pattern or a mould.
    pub struct Tool {
        /// Pattern or mould.
        pub kind: ToolKind,
        /// The tool it was made from.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub from: Option<ToolRef>,
        /// What its body is made of.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub body: Option<Text>,
        /// Thermal expansion of the body.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub cte: Option<Expansion>,
        /// Glass transition of the body.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub tg: Option<Temperature>,
        /// Its working surface.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub surface: Option<Text>,
        /// How the surface is sealed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub sealed: Option<Text>,
        /// The thermocouple survey on file.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub survey: Option<Text>,
        /// Pulls.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub pulls: Option<Pulls>,
        /// Length and width on the floor.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub footprint: Vec<Length>,
        /// Whether it can be stacked in store.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub stackable: Option<bool>,
    }
}

part! {
    /// Colour as the sun sees it.
    pub struct Colour {
        /// Its name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub name: Option<Text>,
        /// Share of sunlight that it absorbs.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub solar_absorptance: Option<Fraction>,
        /// Thermal emittance.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub emittance: Option<Fraction>,
    }
}

part! {
    /// One coat.
    pub struct Coat {
        /// The product.
        pub material: MaterialRef,
        /// Dry film as applied.
        pub dry_film: Length,
        /// Film that sanding or polishing takes off again.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub removed: Option<Length>,
    }
}

record! {
    /// The paint recipe.
    pub struct Finish {
        /// Its colour.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub colour: Option<Colour>,
        /// How and where it is applied.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub process: Option<ProcessRef>,
        /// Film that repair may add.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub repaint: Option<Length>,
        /// From the laminate outward.
        pub coats: Vec<Coat>,
    }
}

word_set! {
    /// Whether structure relies on it.
    pub enum Class {
        /// Structure relies on it.
        Structural = "structural",
        /// Structure does not.
        NonStructural = "non-structural",
    }
}

word_set! {
    /// How free a recipe is to change.
    pub enum Status {
        /// May change at will.
        Trial = "trial",
        /// Changes only by an approved decision.
        Frozen = "frozen",
    }
}

word_set! {
    /// How the list of layers is mirrored.
    pub enum Mirror {
        /// As listed.
        None = "none",
        /// The list, then the list reversed.
        All = "all",
        /// The last layer is the middle, once.
        AboutLast = "about-last",
    }
}

part! {
    /// One layer, from the tool face inward.
    pub struct Layer {
        /// Its name within the recipe.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub id: Option<Text>,
        /// The material.
        pub material: MaterialRef,
        /// Angle of a ply.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub angle: Option<Angle>,
        /// Thickness of a core or another layer.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub thickness: Option<Length>,
    }
}

part! {
    /// The resin of the dry fabrics in a recipe.
    pub struct RecipeResin {
        /// The resin.
        pub material: MaterialRef,
        /// Resin content: share of the mass of the plies.
        pub content: Fraction,
    }
}

record! {
    /// The laminate recipe.
    pub struct Recipe {
        /// Whether structure relies on it; structural where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub class: Option<Class>,
        /// Trial or frozen; trial where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub status: Option<Status>,
        /// How it is cured.
        pub process: ProcessRef,
        /// From the tool face inward.
        pub layers: Vec<Layer>,
        /// How the list is mirrored; none where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub mirror: Option<Mirror>,
        /// Required with dry fabrics.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub resin: Option<RecipeResin>,
        /// Ids that this record had before.
        #[serde(default, skip_serializing_if = "OneOrMany::is_empty")]
        pub formerly: OneOrMany<Text>,
    }
}

impl<T> OneOrMany<T> {
    /// Returns whether there are no entries.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
