//! Documents of `compare` read back into strict types, and held against what `impact` and `mass` say.

use crate::support::{Bench, layout};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// Declares strict types of documents.
macro_rules! documents {
    ($($name:ident { $($key:ident: $type:ty),* $(,)? })*) => {
        $(
            #[derive(Debug, Deserialize, schemars::JsonSchema)]
            #[serde(deny_unknown_fields)]
            #[allow(dead_code, reason = "most fields are there to be held to, not to be read")]
            pub(crate) struct $name { $($key: $type),* }
        )*
    };
}

documents! {
    MassDelta { delta_kg: f64, low_kg: Option<f64>, high_kg: Option<f64>, with_growth_kg: f64 }
    MarginMove { panel: String, case: String, was: Option<f64>, is: Option<f64>, is_margin: Option<Value>, lacking: Option<String> }
    Worse { showing: String, subject: String, was: Option<String>, now: String, asks: String }
    WorseCount { now: String, asks: String, duties: usize }
    Over { group: String, of: String, over_kg: f64, was_over_kg: f64 }
    Retest { specimens: i64, panels: i64, weeks: f64, cost: Option<f64>, missing: Vec<String>, critical_path: Vec<String> }
    Work { specimens: i64, panels: i64, weeks: f64, cost: Option<f64> }
    Column { name: String, verdict: String, mass: MassDelta, cg_shift_m: Option<[f64; 3]>, least_margin: Option<MarginMove>, margins_worse: Vec<MarginMove>, cost: Option<Value>, worse_counts: Vec<WorseCount>, worse: Vec<Worse>, worse_panels: usize, restored: usize, ended: usize, retest: Retest, over_budget: Vec<Over>, assumptions_added: Vec<String>, grounded: Vec<String> }
    Shared { showing: String, subject: String }
    Said { verdict: String, asks: String }
    JointDuty { showing: String, subject: String, was: Option<String>, alone: Vec<Option<Said>>, together: Option<Said>, because: Vec<Value>, panels: Vec<String> }
    Conflict { address: String, values: [Option<String>; 2] }
    Together { of: Vec<String>, conflicts: Vec<Conflict>, reason: Option<String>, column: Option<Column>, sum_kg: Option<f64>, sum_unit_cost: Option<f64>, sum: Option<Work>, saved: Option<Work>, shared: Vec<Shared>, together_only: Vec<JointDuty>, graver_together: Vec<JointDuty>, restored_together: Vec<JointDuty> }
    Compare { schema: String, base: String, of: String, columns: Vec<Column>, together: Vec<Together>, caution: String, report: Value }
}

fn read<T: DeserializeOwned>(bench: &Bench, line: &str) -> T {
    let mut arguments: Vec<&str> = line.split(' ').collect();
    arguments.extend(["--format", "json"]);
    let answer = bench.run(&arguments);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}: {}", answer.out);
    serde_json::from_value(answer.json()).unwrap_or_else(|error| panic!("{line}: {error}"))
}

fn near(one: f64, two: f64) {
    assert!((one - two).abs() < 1e-9, "{one} is not {two}");
}

#[track_caller]
fn agrees(column: &Column, impact: &Value, mass: &Value, with: &Value) {
    near(column.mass.delta_kg, impact["mass"]["delta_kg"].as_f64().unwrap());
    let growth = |own: &Value| own["total"]["with_growth_kg"].as_f64().unwrap();
    near(column.mass.with_growth_kg, growth(with) - growth(mass));
    let cg = column.cg_shift_m.unwrap();
    for (axis, shift) in cg.iter().enumerate() {
        near(*shift, with["cg_m"][axis].as_f64().unwrap() - mass["cg_m"][axis].as_f64().unwrap());
    }
    assert_eq!(column.cost.as_ref().unwrap(), &impact["cost"]);
    assert_eq!(column.retest.specimens, impact["retest"]["specimens"].as_i64().unwrap());
    assert_eq!(column.retest.cost, impact["retest"]["cost"].as_f64());
    near(column.retest.weeks, impact["retest"]["weeks"].as_f64().unwrap());
    let names = |list: &Value| list.as_array().unwrap().len();
    assert_eq!(column.assumptions_added.len(), names(&impact["assumptions"]));
    assert_eq!(column.worse.len(), column.worse_counts.iter().map(|count| count.duties).sum::<usize>());
    let keys: Vec<_> = column.worse.iter().map(|row| (&row.showing, &row.subject)).collect();
    assert!(keys.is_sorted(), "{keys:?}");
    let least =
        impact["margins"].as_array().unwrap().iter().filter_map(|row| row["is"].as_f64()).reduce(f64::min);
    assert_eq!(column.least_margin.as_ref().and_then(|row| row.is), least);
    assert!(
        column.mass.low_kg.unwrap() <= column.mass.delta_kg
            && column.mass.delta_kg <= column.mass.high_kg.unwrap()
    );
}

#[test]
fn columns_say_what_impact_and_mass_say() {
    let bench = Bench::example();
    let found: Compare = read(&bench, "compare dd-003 dd-004");
    assert_eq!(
        (found.schema.as_str(), found.of.as_str(), found.base.as_str()),
        ("compare/1", "decisions", "work tree")
    );
    let mass: Value = read(&bench, "mass");
    for (column, decision) in found.columns.iter().zip(["dd-003", "dd-004"]) {
        let impact: Value = read(&bench, &format!("impact {decision}"));
        let with: Value = read(&bench, &format!("mass --with {decision}"));
        agrees(column, &impact, &mass, &with);
    }
    let [pair] = found.together.as_slice() else { panic!("{:?}", found.together) };
    let impact: Value = read(&bench, "impact dd-003 dd-004");
    let with: Value = read(&bench, "mass --with dd-003,dd-004");
    let whole = pair.column.as_ref().unwrap();
    agrees(whole, &impact, &mass, &with);
    near(pair.sum_kg.unwrap(), found.columns.iter().map(|column| column.mass.delta_kg).sum());
    let specimens: i64 = found.columns.iter().map(|column| column.retest.specimens).sum();
    let (sum, saved) = (pair.sum.as_ref().unwrap(), pair.saved.as_ref().unwrap());
    assert_eq!((sum.specimens, saved.specimens), (specimens, specimens - whole.retest.specimens));
    for own in &pair.shared {
        for column in &found.columns {
            assert!(
                column.worse.iter().any(|row| (&row.showing, &row.subject) == (&own.showing, &own.subject))
            );
        }
    }
}

/// Two commits on one base: each column is what `impact` says between base and commit, and the two merged are the
/// later one.
#[test]
fn revisions_say_what_impact_and_mass_say_between_them() {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    let edit = |file: &str, from: &str, to: &str| {
        let text = bench.read(file);
        assert_eq!(text.matches(from).count(), 1, "{file}: {from}");
        bench.write(file, &text.replace(from, to));
        layout::commit(&bench.ledger(), to);
    };
    edit("recipes/hatch-outer.yaml", "thickness: 6 mm", "thickness: 5 mm");
    edit(
        "panels/rudder.yaml",
        "finish: white, centroid: [8.46 m, 0.03 m",
        "finish: sand, centroid: [8.46 m, 0.03 m",
    );
    let found: Compare = read(&bench, "compare HEAD~1 HEAD --base HEAD~2");
    assert_eq!((found.schema.as_str(), found.of.as_str()), ("compare/1", "revisions"));
    let mass: Value = read(&bench, "mass --at HEAD~2");
    for (column, revision) in found.columns.iter().zip(["HEAD~1", "HEAD"]) {
        assert_eq!(column.name, revision);
        let impact: Value = read(&bench, &format!("impact HEAD~2 {revision}"));
        let with: Value = read(&bench, &format!("mass --at {revision}"));
        agrees(column, &impact, &mass, &with);
    }
    let [pair] = found.together.as_slice() else { panic!("{:?}", found.together) };
    assert_eq!(pair.of, ["HEAD~1", "HEAD"]);
    let whole = pair.column.as_ref().unwrap();
    near(whole.mass.delta_kg, found.columns[1].mass.delta_kg);
    assert_eq!(whole.worse.len(), found.columns[1].worse.len());
    near(pair.sum_kg.unwrap(), found.columns.iter().map(|column| column.mass.delta_kg).sum());
}

/// Two that leave one place at different values have no whole, and no figure of one.
#[test]
fn what_contradicts_itself_has_no_figures_together() {
    let bench = Bench::example();
    for (id, to) in [("dd-901-four", "4 mm"), ("dd-902-five", "5 mm")] {
        let text = format!(
            "title: Core\nstatus: draft\nchanges:\n  - {{set: recipe/hatch-outer#layers.6.thickness, was: 6 mm, to: {to}}}\n"
        );
        bench.write(&format!("decisions/{id}.yaml"), &text);
    }
    let found: Compare = read(&bench, "compare dd-901 dd-902");
    let [pair] = found.together.as_slice() else { panic!("{:?}", found.together) };
    let [conflict] = pair.conflicts.as_slice() else { panic!("{:?}", pair.conflicts) };
    assert_eq!(conflict.address, "recipe/hatch-outer#layers.6.thickness");
    assert_eq!(conflict.values, [Some("4 mm".to_string()), Some("5 mm".to_string())]);
    assert!(pair.column.is_none() && pair.sum_kg.is_none() && pair.sum.is_none() && pair.saved.is_none());
    assert!(pair.sum_unit_cost.is_none() && pair.shared.is_empty() && pair.together_only.is_empty());
}

#[test]
fn panels_cost_what_the_programme_counts() {
    let bench = Bench::example();
    let mass: Value = read(&bench, "mass --cost");
    let cost = &mass["cost"];
    assert_eq!((cost["at_least"].as_bool(), cost["currency"].as_str()), (Some(false), Some("EUR")));
    let mut sums = [0.0; 2];
    for own in cost["panels"].as_array().unwrap() {
        let count = own["quantity"].as_f64().unwrap();
        let alone: Value = read(&bench, &format!("panel {}", own["panel"].as_str().unwrap()));
        let lines = alone["cost"]["lines"].as_array().unwrap();
        for (sum, (whole, line)) in sums.iter_mut().zip([("cost", "cost"), ("labour_h", "labour_h")]) {
            let each = own[whole].as_f64().unwrap();
            near(each, alone["cost"][whole].as_f64().unwrap());
            near(each, lines.iter().map(|one| one[line].as_f64().unwrap()).sum());
            *sum += count * each;
        }
    }
    near(sums[0], cost["cost"].as_f64().unwrap());
    near(sums[1], cost["labour_h"].as_f64().unwrap());
}
