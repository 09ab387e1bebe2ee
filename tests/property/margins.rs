//! Margins and computed showings: what holds for any small programme that carries loads.

use super::config;
use super::edits::{apply, edits};
use super::judging::{Seen, beside_as_alone, load, read_with, there_and_back, try_load};
use super::programme::{Plan, Records, design, plans, proved_of};
use super::renames::{REFERENCES, renamed};
use bondline::change::impact::Impact;
use bondline::ledger::MemoryRecall;
use bondline::qualify::margins::{Margin, PanelMargins, margins_of};
use bondline::qualify::verdict::Verdict;
use bondline::record::ComputedCheck;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What the panels of a programme carry.
#[derive(Debug, Clone)]
pub(super) struct Carried {
    /// In tenths of kPa.
    pressure: u32,
    /// Forces per width, N/mm.
    forces: [i32; 3],
    /// In tenths; none where absent.
    factor: Option<u32>,
    hot: bool,
    /// Whether design values come from showings.
    from_showings: bool,
    strain: bool,
    clamped: bool,
    tube: bool,
}

pub(super) fn carried() -> impl Strategy<Value = Carried> {
    let force = -12..12_i32;
    (
        0..40_u32,
        [force.clone(), force.clone(), force],
        proptest::option::of(10..30_u32),
        any::<(bool, bool, bool, bool, bool)>(),
    )
        .prop_map(|(pressure, forces, factor, (hot, from_showings, strain, clamped, tube))| Carried {
            pressure,
            forces,
            factor,
            hot,
            from_showings,
            strain,
            clamped,
            tube,
        })
}

/// A programme whose panels carry loads, with its showings computed, proved as its plan says.
pub(super) fn loaded(plan: &Plan, carried: &Carried) -> Records {
    let mut all = design(plan);
    let showings = all.ids("showings");
    let or_typed = |showing: &str, typed: &str| -> Value {
        let there = carried.from_showings && showings.iter().any(|own| own == showing);
        if there { json!({"from": showing}) } else { json!(typed) }
    };
    for (id, e1) in [("cloth-c", "60 GPa"), ("cloth-g", "24 GPa"), ("dry-g", "22 GPa"), ("dry-h", "58 GPa")] {
        let own = all.record("materials", id);
        let prepreg = id == "cloth-c";
        own["lamina"] = json!({
            "E1": if prepreg { or_typed("s-modulus", e1) } else { json!(e1) },
            "E2": e1, "G12": "4 GPa", "nu12": 0.06, "cte1": "4e-6 1/K", "cte2": "4e-6 1/K",
        });
        own["strength"] = json!({
            "Xt": if prepreg { or_typed("s-rtd", "600 MPa") } else { json!("400 MPa") },
            "Xc": "420 MPa", "Yt": "390 MPa", "Yc": "380 MPa", "S": "80 MPa",
        });
    }
    for id in ["foam-f", "comb-h"] {
        let own = all.record("materials", id);
        for (key, value) in [
            ("compressive_modulus", "75 MPa"),
            ("shear_modulus", "20 MPa"),
            ("shear_strength", "0.8 MPa"),
            ("compressive_strength", "0.9 MPa"),
            ("service_temperature", "120 degC"),
        ] {
            own[key] = json!(value);
        }
    }
    let mut load = json!({
        "name": "slap", "pressure": format!("{}.{} kPa", carried.pressure / 10, carried.pressure % 10),
        "N": carried.forces.map(|force| format!("{force} N/mm")),
    });
    let mut twist = json!({"name": "twist", "torque": "15 N m", "moment": ["8 N m", "3 N m"]});
    if let Some(factor) = carried.factor {
        load["factor"] = json!(f64::from(factor) / 10.0);
        twist["factor"] = load["factor"].clone();
    }
    if carried.hot {
        load["temperature"] = json!("70 degC");
    }
    for id in all.ids("panels") {
        let own = all.record("panels", &id);
        own["loads"] = json!([load]);
        let support = if carried.clamped { "clamped" } else { "simply-supported" };
        own["plate"] = json!({"zone": "zone 0", "length": "0.6 m", "width": "0.5 m", "support": support});
        if carried.strain {
            own["design_strain"] = json!({"tension": "6000 ustrain", "compression": "4500 ustrain"});
        }
        if carried.tube {
            let wall = |from: &str, to: &str| json!({"name": format!("{from}{to}"), "from": from, "to": to, "zone": "zone 0"});
            own["section"] = json!({
                "corners": {"a": ["0 mm", "0 mm"], "b": ["50 mm", "0 mm"], "c": ["50 mm", "30 mm"], "d": ["0 mm", "30 mm"]},
                "walls": [wall("a", "b"), wall("b", "c"), wall("c", "d"), wall("d", "a")],
                "loads": [twist],
            });
        }
    }
    let margins = json!({"kind": "computed", "check": "margins", "accept": {"margin_at_least": 0}});
    all.put("showings", "s-margins", margins);
    let heat =
        json!({"kind": "computed", "check": "temperature-margin", "accept": {"above_skin_by": "28 K"}});
    all.put("showings", "s-heat", heat);
    all.put(
        "showings",
        "s-mass",
        json!({"kind": "computed", "check": "mass", "accept": {"at_most": "30 kg"}}),
    );
    let twisted = json!({"kind": "computed", "check": "section-torsion", "accept": {"at_least": "900 N m2"}});
    all.put("showings", "s-torsion", twisted);
    all.put("showings", "s-stiff", json!({"kind": "stiffness", "accept": {"statement": true}}));
    proved_of(plan, all)
}

fn margins(seen: &Seen) -> BTreeMap<String, PanelMargins> {
    let of = |panel: &String| margins_of(&seen.ledger, &seen.evaluation.duties, panel).unwrap();
    seen.ledger.panels.keys().map(|panel| (panel.clone(), of(panel))).collect()
}

/// What a margin is of, apart from how much is left.
fn place(margin: &Margin) -> (String, String, &'static str, ComputedCheck) {
    (margin.case.clone(), margin.place.clone(), margin.criterion, margin.check)
}

fn figures(margins: &PanelMargins) -> BTreeMap<(String, String, &'static str), f64> {
    let one = |own: &Margin| ((own.case.clone(), own.place.clone(), own.criterion), own.margin);
    let mut least = BTreeMap::new();
    for (key, margin) in margins.margins.iter().map(one) {
        let known = least.entry(key).or_insert(margin);
        *known = margin.min(*known);
    }
    least
}

type Ends = BTreeMap<(String, String), (Option<Margin>, Option<Margin>)>;

fn ends(found: &Impact, back: bool) -> Ends {
    let one = |row: &bondline::change::margins::MarginMove| {
        let (was, now) = (row.was.clone(), row.now.clone());
        let key = (row.panel.clone(), row.case.clone());
        (key, if back { (now, was) } else { (was, now) })
    };
    found.margins.iter().map(one).collect()
}

proptest! {
    #![proptest_config(config(6))]

    #[test]
    fn more_load_leaves_less(plan in plans(), mut carried in carried(), more in 1..20_u32) {
        let at = |carried: &Carried| Seen::of(load(&loaded(&plan, carried)));
        let low = carried.factor.unwrap_or(10);
        carried.factor = Some(low);
        let before = margins(&at(&carried));
        carried.factor = Some(low + more);
        let after = margins(&at(&carried));
        for (panel, was) in &before {
            let (was, is) = (figures(was), figures(&after[panel]));
            prop_assert_eq!(was.keys().collect::<Vec<_>>(), is.keys().collect::<Vec<_>>());
            for (key, was) in was {
                // Crazing and a lost pane are judged at limit load.
                prop_assert!(is[&key] <= was + 1e-9 * (1.0 + was.abs()), "{panel} {key:?}: {was} {}", is[&key]);
            }
        }
    }

    #[test]
    fn a_name_moves_no_margin(plan in plans(), carried in carried(), folder in 0..7_usize, at in any::<usize>(), early in any::<bool>()) {
        let base = loaded(&plan, &carried);
        let (folder, _) = REFERENCES[folder];
        prop_assume!(folder != "panels");
        let ids = base.ids(folder);
        prop_assume!(!ids.is_empty());
        let old = &ids[at % ids.len()];
        let other = renamed(&base, folder, old, if early { "aa-one" } else { "zz-one" });
        let before = Seen::of(load(&base));
        let after = Seen::of(try_load(&other).map_err(|faults| TestCaseError::fail(format!("{faults:#?}")))?);
        let found = before.to(&after);
        prop_assert!(found.margins.is_empty(), "{folder}/{old}: {:#?}", found.margins);
        let (was, is) = (margins(&before), margins(&after));
        for (panel, was) in &was {
            let of = |own: &PanelMargins| own.margins.iter().map(|one| (place(one), one.mode.clone(), one.margin)).collect::<Vec<_>>();
            prop_assert_eq!(of(was), of(&is[panel]), "{}/{}", folder, old);
        }
    }

    /// A computed duty is met only on values in force, with nothing left out, and only where no margin of it is
    /// below what is asked.
    #[test]
    fn met_only_on_values_in_force(plan in plans(), carried in carried()) {
        let seen = Seen::of(load(&loaded(&plan, &carried)));
        let all = margins(&seen);
        for ((showing, _), duty) in &seen.evaluation.duties {
            if showing != "s-margins" {
                continue;
            }
            for (panel, judged) in &*duty.panels {
                let own = &all[panel];
                let sound = own.of(ComputedCheck::Margins).all(|margin| margin.unmet().next().is_none());
                let enough = own.of(ComputedCheck::Margins).all(|margin| margin.margin >= -1e-9);
                let whole = own.uncomputed.is_empty();
                let any = own.of(ComputedCheck::Margins).next().is_some();
                let expected = if !enough {
                    Verdict::Failed
                } else if !whole || !any {
                    Verdict::Open
                } else if !sound {
                    Verdict::Lapsed
                } else {
                    Verdict::Met
                };
                prop_assert_eq!(judged.verdict, expected, "{} {:#?}", panel, judged.because);
                // Whatever a value of a margin rests on is a duty, with that very verdict for the panel.
                for rest in own.margins.iter().flat_map(|margin| &margin.rests) {
                    let below = &seen.evaluation.duties[&(rest.showing.clone(), rest.subject.clone())];
                    let verdict = below.panels.get(panel).map_or(below.verdict(), |own| own.verdict);
                    prop_assert_eq!(rest.verdict, verdict);
                }
            }
        }
    }

    #[test]
    fn margins_there_and_back_are_opposite(plan in plans(), carried in carried(), edit in edits()) {
        let base = loaded(&plan, &carried);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let Ok(after) = try_load(&changed) else { return Err(TestCaseError::reject("refused by the reader")) };
        let (before, after) = (Seen::of(load(&base)), Seen::of(after));
        let (there, back) = (before.to(&after), after.to(&before));
        prop_assert_eq!(ends(&there, false), ends(&back, true));
        // No margin moves without its row.
        let (old, new) = (margins(&before), margins(&after));
        for (panel, was) in &old {
            let Some(is) = new.get(panel) else { continue };
            let cases = was.margins.iter().chain(&is.margins).map(|margin| margin.case.clone());
            for case in cases {
                let least = |own: &PanelMargins| {
                    own.margins.iter().filter(|one| one.case == case).map(|one| one.margin).reduce(f64::min)
                };
                let shown = there.margins.iter().any(|row| row.panel == *panel && row.case == case);
                let same = match (least(was), least(is)) {
                    (Some(was), Some(is)) => (was - is).abs() <= 1e-9 * (1.0 + was.abs()),
                    (was, is) => was.is_none() && is.is_none(),
                };
                prop_assert!(same || shown, "{panel} {case}: {:?} {:?}", least(was), least(is));
            }
        }
    }

    #[test]
    fn undoing_restores_every_margin(plan in plans(), carried in carried(), edit in edits()) {
        let base = loaded(&plan, &carried);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let [before, after, undone] = there_and_back(&base, &changed)?;
        let changed = before.to(&after);
        prop_assert_eq!(margins(&before), margins(&undone));
        prop_assert_eq!(&before.evaluation.duties, &undone.evaluation.duties);
        prop_assert!(before.to(&undone).margins.is_empty());
        prop_assert!(!changed.changes.is_empty());
    }

    /// What is taken over from another state is what would be judged anew, computed showings and those that
    /// lean on them among it.
    #[test]
    fn computed_beside_another_state_is_as_computed_alone(plan in plans(), carried in carried(), edit in edits()) {
        let base = loaded(&plan, &carried);
        let Some(changed) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let recall = MemoryRecall::new();
        let (Ok(old), Ok(new)) = (read_with(base.texts(), &recall), read_with(changed.texts(), &recall)) else {
            return Err(TestCaseError::reject("refused by the reader"));
        };
        for (one, two) in [(&old, &new), (&new, &old), (&old, &old)] {
            beside_as_alone(one, two)?;
        }
        // From a state without computed showings into one with them, and back.
        let mut bare = base.clone();
        bare.values.retain(|path, _| !path.starts_with("showings/s-margins"));
        let bare = read_with(bare.texts(), &recall).unwrap();
        for (one, two) in [(&bare, &new), (&new, &bare)] {
            beside_as_alone(one, two)?;
        }
    }
}

#[test]
fn loaded_programmes_are_worth_computing() {
    // A guard on the generator: all verdicts of computed showings but lapsed, which `computed.rs` holds, and most kinds of check come up.
    let mut runner = TestRunner::new(config(1));
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for _ in 0..40 {
        let plan = plans().new_tree(&mut runner).unwrap().current();
        let carried = carried().new_tree(&mut runner).unwrap().current();
        let own = Seen::of(load(&loaded(&plan, &carried)));
        for ((showing, _), duty) in &own.evaluation.duties {
            if own.ledger.showings[showing].value.kind.as_str() == "computed" {
                *seen.entry(format!("{showing} {}", duty.verdict())).or_default() += 1;
            }
        }
        for margin in margins(&own).values().flat_map(|own| &own.margins) {
            *seen.entry(margin.check.word().to_string()).or_default() += 1;
            let below = if margin.margin < 0.0 { "below" } else { "above" };
            *seen.entry(below.to_string()).or_default() += 1;
        }
    }
    for word in [
        "s-margins met",
        "s-margins failed",
        "s-margins open",
        "s-mass met",
        "s-mass failed",
        "s-torsion met",
        "s-torsion failed",
        "strength",
        "sandwich",
        "buckling",
        "section",
        "below",
        "above",
    ] {
        assert!(seen.contains_key(word), "{word}: {seen:#?}");
    }
}
