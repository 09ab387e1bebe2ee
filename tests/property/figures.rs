//! Mass adds up, and units are only a way of writing.

use super::config;
use super::judging::{Seen, close, load, try_load};
use super::programme::{Records, design, plans, proved};
use bondline::article::weigh::{Scope, programme_mass, statement};
use proptest::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Mass by group, kg.
fn groups(records: &Records) -> BTreeMap<String, f64> {
    let statement = statement(&load(records), Scope::Programme).unwrap();
    statement.groups.into_iter().map(|group| (group.group, group.kg)).collect()
}

fn same(one: &BTreeMap<String, f64>, two: &BTreeMap<String, f64>) -> bool {
    one.keys().eq(two.keys()) && one.iter().all(|(group, kg)| close(*kg, two[group]))
}

/// The same quantity in another unit, exactly: powers of ten, sixty minutes, 273.15 K.
fn other_unit(text: &str) -> Option<String> {
    let (number, rest) = text.split_once(' ')?;
    let (unit, more) = rest.split_once(' ').map_or((rest, None), |(unit, more)| (unit, Some(more)));
    let (shift, other) = match unit {
        "g/m2" => (-3, "kg/m2"),
        "kg/m3" => (-3, "g/cm3"),
        "um" => (-3, "mm"),
        "mm" => (3, "um"),
        "m" => (3, "mm"),
        "m2" => (6, "mm2"),
        "kPa" => (3, "Pa"),
        "MPa" => (-3, "GPa"),
        "GPa" => (3, "MPa"),
        "g" => (-3, "kg"),
        "h" => {
            let minutes: u32 = number.parse::<u32>().ok()? * 60;
            return more.is_none().then(|| format!("{minutes} min"));
        }
        "degC" => {
            // Hundredths of a kelvin, so that nothing is rounded.
            let (whole, part) = number.split_once('.').unwrap_or((number, ""));
            let part = format!("{part:0<2}");
            let hundredths = whole.parse::<i64>().ok()? * 100 + part.get(..2)?.parse::<i64>().ok()?;
            if number.starts_with('-') && part != "00" || part.len() > 2 {
                return None;
            }
            let kelvin = hundredths + 27_315;
            return more.is_none().then(|| format!("{}.{:02} K", kelvin / 100, kelvin % 100));
        }
        _ => return None,
    };
    let mut out = format!("{} {other}", shifted(number, shift)?);
    if let Some(more) = more {
        // A tolerance: relative as it stands, else in the same unit.
        let spread = more.strip_prefix("+/- ")?;
        let (number, own) = spread.split_once(' ')?;
        if own == unit {
            out.push_str(&format!(" +/- {} {other}", shifted(number, shift)?));
        } else {
            out.push_str(&format!(" +/- {spread}"));
        }
    }
    Some(out)
}

/// Moves the decimal point.
fn shifted(number: &str, by: i32) -> Option<String> {
    let (sign, number) = number.strip_prefix('-').map_or(("", number), |number| ("-", number));
    let (whole, part) = number.split_once('.').unwrap_or((number, ""));
    let digits = format!("{whole}{part}");
    let point = i32::try_from(whole.len()).ok()? + by;
    let text = if point <= 0 {
        format!("0.{}{digits}", "0".repeat(usize::try_from(-point).ok()?))
    } else {
        let point = usize::try_from(point).ok()?;
        let padded = format!("{digits:0<point$}");
        let (whole, part) = padded.split_at(point);
        let whole = match whole.trim_start_matches('0') {
            "" => "0",
            whole => whole,
        };
        if part.is_empty() { whole.to_string() } else { format!("{whole}.{part}") }
    };
    Some(format!("{sign}{text}"))
}

/// Rewrites the quantities that `pick` has a bit for and returns how many there were.
pub(crate) fn rewrite(value: &mut Value, pick: u64, at: &mut u32) {
    match value {
        Value::Object(map) => map.values_mut().for_each(|value| rewrite(value, pick, at)),
        Value::Array(list) => list.iter_mut().for_each(|value| rewrite(value, pick, at)),
        Value::String(text) => {
            if let Some(other) = other_unit(text) {
                *at += 1;
                if pick >> (*at % 64) & 1 == 1 {
                    *text = other;
                }
            }
        }
        _ => {}
    }
}

#[test]
fn units_are_rewritten_by_hand() {
    for (text, other) in [
        ("200 g/m2", "0.200 kg/m2"),
        ("52 kg/m3 +/- 5 kg/m3", "0.052 g/cm3 +/- 0.005 g/cm3"),
        ("37 g/m2 +/- 4 %", "0.037 kg/m2 +/- 4 %"),
        ("5 um", "0.005 mm"),
        ("0.5 mm", "500 um"),
        ("1.25 m2", "1250000 mm2"),
        ("82 degC", "355.15 K"),
        ("-54 degC", "219.15 K"),
        ("720 h", "43200 min"),
    ] {
        let got = other_unit(text).unwrap();
        assert_eq!(got, other, "{text}");
    }
}

proptest! {
    #![proptest_config(config(40))]

    #[test]
    fn a_zone_weighs_what_its_halves_weigh(plan in plans(), panel in any::<usize>(), zone in any::<usize>(), share in 1..99_u32) {
        let base = design(&plan);
        let panels = base.ids("panels");
        let panel = &panels[panel % panels.len()];
        let (before, total) = (groups(&base), programme_mass(&load(&base)).unwrap());

        // Two zones for one.
        let mut split = base.clone();
        let zones = split.record("panels", panel)["zones"].as_array_mut().unwrap();
        let count = zones.len();
        let mut half = zones[zone % count].clone();
        // Areas are written in hundredths of a square metre; parts of them in millionths.
        let area: f64 = half["area"].as_str().unwrap().trim_end_matches(" m2").parse().unwrap();
        let part = (area * f64::from(share) * 10_000.0).round();
        zones[zone % count]["area"] = json!(format!("{} m2", part / 1e6));
        half["name"] = json!("other half");
        half["area"] = json!(format!("{} m2", (area * 1e6 - part).round() / 1e6));
        zones.push(half);
        prop_assert!(same(&groups(&split), &before), "{:?} {:?}", groups(&split), before);

        // A zone on a panel of its own.
        if count > 1 {
            let mut moved = base.clone();
            let mut own = moved.record("panels", panel).clone();
            let record = moved.record("panels", panel);
            // What is not a zone stays where it is.
            for key in ["joints", "fittings", "holes"] {
                own.as_object_mut().unwrap().remove(key);
            }
            record.as_object_mut().unwrap().remove("joints");
            let with_joints = groups(&base);
            let mut without = base.clone();
            without.record("panels", panel).as_object_mut().unwrap().remove("joints");
            let expected = groups(&without);
            prop_assert!(with_joints.iter().all(|(group, kg)| *kg >= expected[group] - 1e-12));
            let taken = moved.record("panels", panel)["zones"].as_array_mut().unwrap().remove(zone % count);
            own["zones"] = json!([taken]);
            moved.values.insert("panels/panel-new.yaml".to_string(), own);
            prop_assert!(same(&groups(&moved), &expected), "{:?} {:?}", groups(&moved), expected);
        }

        // Twice the pieces, twice the mass.
        let mut twice = base.clone();
        for panel in &panels {
            let quantity = &mut twice.record("panels", panel)["quantity"];
            *quantity = json!(quantity.as_u64().unwrap() * 2);
        }
        prop_assert!(close(programme_mass(&load(&twice)).unwrap(), 2.0 * total));
    }

    #[test]
    fn units_are_a_way_of_writing(plan in plans(), picks in any::<u64>()) {
        let base = proved(&plan);
        let mut other = base.clone();
        let mut at = 0;
        for (path, value) in &mut other.values {
            // Conformed evidence is not to be touched, and the rates are money.
            if !path.starts_with("evidence/") {
                rewrite(value, picks, &mut at);
            }
        }
        prop_assume!(other != base);
        let before = Seen::of(load(&base));
        let after = Seen::of(try_load(&other).map_err(|faults| TestCaseError::fail(format!("{faults:#?}")))?);
        prop_assert_eq!(after.verdicts(), before.verdicts());
        let found = before.to(&after);
        prop_assert!(close(found.mass.0, found.mass.1), "{:?}", found.mass);
        prop_assert!(found.duties.is_empty(), "{:#?}", found.duties);
        prop_assert!(found.ended.is_empty() && found.panels.is_empty(), "{:?} {:?}", found.ended, found.panels);
        prop_assert!(found.changes.is_empty(), "{:#?}", found.changes);
        // Conformed to it again, the evidence holds the same text.
        let mut again = other.clone();
        again.conformed.clear();
        super::programme::conform(&mut again);
        for (path, block) in &again.conformed {
            prop_assert_eq!(block, &base.conformed[path]);
        }
    }
}
