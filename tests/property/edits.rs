//! Single edits of a programme's records.

use crate::property::programme::{COATS, Records};
use proptest::prelude::*;
use serde_json::{Value, json};

/// One edit; what it is applied to is picked by numbers, so that it fits any programme.
#[derive(Debug, Clone)]
pub(crate) enum Edit {
    /// One figure of the design, moved by tenths of a percent.
    Figure {
        pick: usize,
        by: i32,
    },
    InsertPly {
        pick: usize,
        at: usize,
        angle: i32,
    },
    RemoveLayer {
        pick: usize,
        at: usize,
    },
    TurnPly {
        pick: usize,
        at: usize,
        angle: i32,
    },
    SwapMaterial {
        pick: usize,
        at: usize,
    },
    AddCoat {
        pick: usize,
        coat: usize,
    },
    RemoveCoat {
        pick: usize,
    },
    Cure {
        pick: usize,
        to: u32,
    },
    Site {
        pick: usize,
    },
    Supplier {
        pick: usize,
    },
    ZoneFinish {
        pick: usize,
        zone: usize,
        finish: usize,
    },
    ZoneRecipe {
        pick: usize,
        zone: usize,
        recipe: usize,
    },
    Exposure {
        pick: usize,
        what: usize,
    },
    Environment {
        pick: usize,
        to: i32,
    },
    Tool,
    Holes {
        pick: usize,
        to: u32,
    },
}

/// Any edit.
pub(crate) fn edits() -> impl Strategy<Value = Edit> {
    let any = any::<usize>;
    let angle = || prop_oneof![Just(0), Just(45), Just(60), Just(90)];
    let by = prop_oneof![-200..-5_i32, 5..200_i32];
    prop_oneof![
        4 => (any(), by).prop_map(|(pick, by)| Edit::Figure { pick, by }),
        1 => (any(), any(), angle()).prop_map(|(pick, at, angle)| Edit::InsertPly { pick, at, angle }),
        1 => (any(), any()).prop_map(|(pick, at)| Edit::RemoveLayer { pick, at }),
        1 => (any(), any(), angle()).prop_map(|(pick, at, angle)| Edit::TurnPly { pick, at, angle }),
        1 => (any(), any()).prop_map(|(pick, at)| Edit::SwapMaterial { pick, at }),
        1 => (any(), any()).prop_map(|(pick, coat)| Edit::AddCoat { pick, coat }),
        1 => any().prop_map(|pick| Edit::RemoveCoat { pick }),
        1 => (any(), 60..180_u32).prop_map(|(pick, to)| Edit::Cure { pick, to }),
        1 => any().prop_map(|pick| Edit::Site { pick }),
        1 => any().prop_map(|pick| Edit::Supplier { pick }),
        1 => (any(), any(), any()).prop_map(|(pick, zone, finish)| Edit::ZoneFinish { pick, zone, finish }),
        1 => (any(), any(), any()).prop_map(|(pick, zone, recipe)| Edit::ZoneRecipe { pick, zone, recipe }),
        1 => (any(), 0..6_usize).prop_map(|(pick, what)| Edit::Exposure { pick, what }),
        1 => (any(), -60..120_i32).prop_map(|(pick, to)| Edit::Environment { pick, to }),
        1 => Just(Edit::Tool),
        1 => (any(), 4..12_u32).prop_map(|(pick, to)| Edit::Holes { pick, to }),
    ]
}

fn pick<T: Clone>(from: &[T], at: usize) -> Option<T> {
    from.get(at.checked_rem(from.len())?).cloned()
}

/// Folders whose figures an edit may move.
const DESIGN: [&str; 5] = ["materials/", "processes/", "finishes/", "recipes/", "panels/"];

/// Every figure of the design: file and way to it.
pub(crate) fn figures(records: &Records) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for (path, value) in &records.values {
        if DESIGN.iter().any(|folder| path.starts_with(folder)) || path == "ledger.yaml" {
            gather(value, "", &mut |way| all.push((path.clone(), way.to_string())));
        }
    }
    all
}

fn gather(value: &Value, way: &str, found: &mut dyn FnMut(&str)) {
    match value {
        Value::Object(map) => {
            map.iter().for_each(|(key, value)| gather(value, &format!("{way}/{key}"), found))
        }
        Value::Array(list) => {
            list.iter().enumerate().for_each(|(at, value)| gather(value, &format!("{way}/{at}"), found));
        }
        Value::String(text) if is_figure(text) => found(way),
        _ => {}
    }
}

/// Whether the text is a number and a unit, money left out.
fn is_figure(text: &str) -> bool {
    let Some((number, unit)) = text.split_once(' ') else { return false };
    number.parse::<f64>().is_ok() && !unit.starts_with("EUR")
}

/// Moves the number that the text begins with, in four digits.
fn moved(text: &str, by: i32) -> String {
    let (number, rest) = text.split_once(' ').unwrap();
    let value = number.parse::<f64>().unwrap() * (1.0 + f64::from(by) / 1000.0);
    let short: f64 = format!("{value:.3e}").parse().unwrap();
    format!("{short} {rest}")
}

/// Applies an edit; `None` where the programme has nothing for it or it changes nothing.
pub(crate) fn apply(records: &Records, edit: &Edit) -> Option<Records> {
    let mut all = records.clone();
    let recipes = all.ids("recipes");
    let panels = all.ids("panels");
    let finishes = all.ids("finishes");
    match edit {
        Edit::Figure { pick: at, by } => {
            let (path, way) = pick(&figures(&all), *at)?;
            let place = all.values.get_mut(&path)?.pointer_mut(&way)?;
            *place = json!(moved(place.as_str()?, *by));
        }
        Edit::InsertPly { pick: at, at: layer, angle } => {
            let layers = layers(&mut all, &pick(&recipes, *at)?)?;
            let ply = layers.iter().find(|layer| layer.get("angle").is_some())?["material"].clone();
            layers.insert(layer % (layers.len() + 1), json!({"material": ply, "angle": angle}));
        }
        Edit::RemoveLayer { pick: at, at: layer } => {
            let layers = layers(&mut all, &pick(&recipes, *at)?)?;
            layers.remove(layer.checked_rem(layers.len())?);
            // A laminate without a ply is none.
            layers.iter().find(|layer| layer.get("angle").is_some())?;
        }
        Edit::TurnPly { pick: at, at: layer, angle } => {
            let layers = layers(&mut all, &pick(&recipes, *at)?)?;
            let mut plies: Vec<&mut Value> =
                layers.iter_mut().filter(|layer| layer.get("angle").is_some()).collect();
            let count = plies.len();
            plies.get_mut(layer.checked_rem(count)?)?["angle"] = json!(angle);
        }
        Edit::SwapMaterial { pick: at, at: layer } => {
            let layers = layers(&mut all, &pick(&recipes, *at)?)?;
            let count = layers.len();
            let place = &mut layers.get_mut(layer.checked_rem(count)?)?["material"];
            *place = json!(match place.as_str()? {
                "cloth-c" => "cloth-g",
                "cloth-g" => "cloth-c",
                "dry-g" => "dry-h",
                "dry-h" => "dry-g",
                "foam-f" => "comb-h",
                "comb-h" => "foam-f",
                _ => return None,
            });
        }
        Edit::AddCoat { pick: at, coat } => {
            let finish = pick(&finishes, *at)?;
            let coats = all.record("finishes", &finish)["coats"].as_array_mut()?;
            coats.push(json!({"material": COATS[coat % COATS.len()], "dry_film": "40 um"}));
        }
        Edit::RemoveCoat { pick: at } => {
            let finish = pick(&finishes, *at)?;
            let coats = all.record("finishes", &finish)["coats"].as_array_mut()?;
            if coats.len() < 2 {
                return None;
            }
            coats.pop();
        }
        Edit::Cure { pick: at, to } => {
            let process = pick(&["oven-o", "infusion-i"], *at)?;
            all.record("processes", process)["cure"][0]["to"] = json!(format!("{to} degC"));
        }
        Edit::Site { pick: at } => {
            let process = pick(&all.ids("processes"), *at)?;
            all.record("processes", &process)["site"] = json!("hall nine");
        }
        Edit::Supplier { pick: at } => {
            let material = pick(&all.ids("materials"), *at)?;
            all.record("materials", &material)["supplier"] = json!("supplier nine");
        }
        Edit::ZoneFinish { pick: at, zone, finish } => {
            let finish = pick(&finishes, *finish)?;
            zone_of(&mut all, &pick(&panels, *at)?, *zone)?["finish"] = json!(finish);
        }
        Edit::ZoneRecipe { pick: at, zone, recipe } => {
            let recipe = pick(&recipes, *recipe)?;
            zone_of(&mut all, &pick(&panels, *at)?, *zone)?["recipe"] = json!(recipe);
        }
        Edit::Exposure { pick: at, what } => {
            let exposure = &mut all.record("panels", &pick(&panels, *at)?)["exposure"];
            let (key, value) = [
                ("lightning", json!("3")),
                ("lightning", json!("2A")),
                ("lightning", json!("1A")),
                ("zone", json!("indoor")),
                ("minimum", json!("-60 degC")),
                ("fluids", json!(["fuel"])),
            ][*what]
                .clone();
            exposure[key] = value;
        }
        Edit::Environment { pick: at, to } => {
            let showing = pick(&all.ids("showings"), *at)?;
            let environment = all.record("showings", &showing).get_mut("environment")?;
            environment["temperature"] = json!(format!("{to} degC"));
        }
        Edit::Tool => all.record("tools", "mould-t")["body"] = json!("steel"),
        Edit::Holes { pick: at, to } => {
            all.record("panels", &pick(&panels, *at)?)["holes"] = json!({"largest": format!("{to} mm")});
        }
    }
    (all != *records).then_some(all)
}

fn layers<'a>(all: &'a mut Records, recipe: &str) -> Option<&'a mut Vec<Value>> {
    all.record("recipes", recipe)["layers"].as_array_mut()
}

fn zone_of<'a>(all: &'a mut Records, panel: &str, zone: usize) -> Option<&'a mut Value> {
    let zones = all.record("panels", panel)["zones"].as_array_mut()?;
    let count = zones.len();
    zones.get_mut(zone.checked_rem(count)?)
}
