use super::super::tests::today;
use super::*;
use crate::article::fixture;
use crate::ledger::{Ledger, TestData};
use crate::qualify::conform::conformity;
use crate::qualify::verdict::{Duty, Verdict, evaluate};
use crate::quantity::Blisters;
use crate::record::Conformed;
use std::sync::Arc;

/// An invented ledger: one painted skin, a trial outdoors and in a cabinet.
const BASE: &str = "
ledger: {format: 1, programme: Test (invented), climate: {ambient: 43 degC, irradiance: 1120 W/m2}}
materials:
  cw: {kind: prepreg, fibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}, resin: {name: ep-1, density: 1240 kg/m3, content: 37 %}, form: twill}
  prime: {kind: coating, role: primer, dry_density: 1500 kg/m3}
  col: {kind: coating, role: colour, dry_density: 1400 kg/m3}
  other: {kind: coating, role: colour, dry_density: 1300 kg/m3}
processes: {oven: {method: oven}}
finishes:
  white: {colour: {name: white, solar_absorptance: 0.30, emittance: 0.90}, coats: [{material: prime, dry_film: 25 um}, {material: col, dry_film: 40 um}]}
recipes:
  skin: {process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}
panels:
  shell: {class: structural, exposure: {zone: outdoor}, zones: [{name: shell, area: 1 m2, recipe: skin, finish: white}]}
showings:
  trial:
    kind: paint-weathering
    accept: {readings: [{property: chalking, at_least: 8}, {property: gloss-retention, at_least: 70 %}]}
    plan: {specimens: 1, readings: [3 months, 6 months, 500 h]}
evidence:
  out:
    showing: trial
    subject: {painted: [skin, white]}
    kind: test
    state: done
    trial: {sites: {rack: {kind: outdoor, start: 2026-01-31}}}
  box:
    showing: trial
    subject: {painted: [skin, white]}
    kind: test
    state: done
    trial: {sites: {cabinet: {kind: accelerated}}}
";

fn row(panel: &str, site: &str, exposure: &str, property: Property, value: f64) -> TrialReading {
    TrialReading {
        panel: panel.to_string(),
        site: site.to_string(),
        place: None,
        exposure: Exposed::parse(exposure).unwrap(),
        property,
        value: Some(Graded::Number(value)),
        on: None,
        rejected: None,
        line: 2,
    }
}

/// Chalking and gloss of one panel at one site.
fn rows(panel: &str, site: &str, unit: &str, all: &[(f64, f64, f64)]) -> Vec<TrialReading> {
    let two = |(at, chalking, gloss): &(f64, f64, f64)| {
        let at = format!("{at} {unit}");
        [
            row(panel, site, &at, Property::Chalking, *chalking),
            row(panel, site, &at, Property::Gloss60, *gloss),
        ]
    };
    all.iter().flat_map(two).collect()
}

fn outdoors() -> Vec<TrialReading> {
    rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (3.0, 10.0, 88.0), (6.0, 9.0, 85.0)])
}

fn cabinet() -> Vec<TrialReading> {
    rows("U1", "cabinet", "h", &[(0.0, 10.0, 90.0), (500.0, 9.0, 80.0)])
}

fn ledger(edits: &[(&str, &str)], data: &[(&str, Vec<TrialReading>)]) -> Ledger {
    let mut text = BASE.to_string();
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    let mut made = fixture::ledger(&text);
    for (id, readings) in data {
        let (file, digest) = (format!("{id}.csv"), "sha256:0".to_string());
        let data = TestData { file, digest, readings: readings.clone().into(), ..TestData::default() };
        made.data.insert((*id).to_string(), data);
    }
    // Both were made as the base says, whatever was edited since.
    let then = fixture::ledger(BASE);
    for (id, entry) in &mut made.evidence {
        let found = conformity(&then, &then.evidence[id.as_str()], Some("abc")).unwrap();
        let conformed: Conformed =
            serde_yaml::from_str(found.block().strip_prefix("conformed:\n").unwrap()).unwrap();
        let mut value: Evidence = (*entry.value).clone();
        value.conformed = Some(conformed);
        entry.value = Arc::new(value);
    }
    made
}

fn duty(ledger: &Ledger) -> Duty {
    evaluate(ledger, today()).unwrap().duties.into_values().next().unwrap()
}

#[track_caller]
fn is(ledger: &Ledger, verdict: Verdict, words: &str) {
    let duty = duty(ledger);
    let because: Vec<String> =
        duty.because().iter().map(|reason| format!("{}: {}", reason.attribute, reason.is)).collect();
    assert_eq!(duty.verdict(), verdict, "{because:?}");
    assert!(because.iter().any(|one| one.contains(words)), "{words}: {because:?}");
}

#[test]
fn both_kinds_of_exposure_are_asked_and_each_is_judged_alone() {
    is(&ledger(&[], &[("out", outdoors()), ("box", cabinet())]), Verdict::Met, "outdoor: worst chalking 9");
    is(&ledger(&[], &[("out", outdoors())]), Verdict::Short, "no accelerated readings");
    is(&ledger(&[], &[("box", cabinet())]), Verdict::Short, "no outdoor readings");
    is(&ledger(&[], &[]), Verdict::Short, "no readings");
    // Any number of panels in the cabinet makes up for none on the rack.
    let mut many = cabinet();
    (2..9).for_each(|at| {
        many.extend(rows(&format!("U{at}"), "cabinet", "h", &[(0.0, 10.0, 90.0), (500.0, 9.0, 80.0)]))
    });
    is(&ledger(&[], &[("box", many)]), Verdict::Short, "no outdoor readings");
}

#[test]
fn two_trials_are_no_two_panels_of_one() {
    let two = [("specimens: 1", "specimens: 2"), (", 500 h", "")];
    let mut both = outdoors();
    is(&ledger(&two, &[("out", both.clone())]), Verdict::Short, "outdoor: 1 of 2 panels");
    // The other record's site is another rack.
    let moved =
        [two[0], two[1], ("cabinet: {kind: accelerated}", "rack: {kind: outdoor, start: 2026-01-31}")];
    is(
        &ledger(&moved, &[("out", both.clone()), ("box", both.clone())]),
        Verdict::Short,
        "outdoor: 1 of 2 panels",
    );
    both.extend(rows("T2", "rack", "months", &[(0.0, 10.0, 90.0), (3.1, 10.0, 88.0), (5.8, 9.0, 85.0)]));
    is(&ledger(&two, &[("out", both)]), Verdict::Met, "worst chalking 9");
}

#[test]
fn a_planned_reading_is_its_own() {
    let early = [(", 500 h", "")];
    // 5.5 months is too early for 6, and 3 was never read: one reading is not two.
    let late = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (3.0, 10.0, 88.0), (5.5, 9.0, 85.0)]);
    is(&ledger(&early, &[("out", late)]), Verdict::Short, "chalking of panel T1 after 6 months is missing");
    let gap = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (6.0, 9.0, 85.0)]);
    is(&ledger(&early, &[("out", gap)]), Verdict::Short, "chalking of panel T1 after 3 months is missing");
}

/// The plan of both kinds, and the limits of the base.
const PLAN: &str = ", readings: [3 months, 6 months, 500 h]";
const LIMITS: &str = "{property: chalking, at_least: 8}, {property: gloss-retention, at_least: 70 %}";
/// Chalking outdoors alone, gloss in the cabinet alone.
const ONE_EACH: &str = "{property: chalking, at_least: 8, exposure: outdoor}, \
    {property: gloss-retention, at_least: 70 %, exposure: accelerated}";

#[test]
fn a_limit_of_one_kind_of_exposure_asks_for_that_kind() {
    let hours = [(LIMITS, ONE_EACH), ("3 months, 6 months, ", "")];
    is(&ledger(&hours, &[("box", cabinet())]), Verdict::Short, "no outdoor readings");
    is(
        &ledger(&hours, &[("box", cabinet()), ("out", outdoors())]),
        Verdict::Met,
        "outdoor: worst chalking 9",
    );
    let unplanned = [(LIMITS, ONE_EACH), (PLAN, "")];
    is(&ledger(&unplanned, &[("box", cabinet())]), Verdict::Short, "no outdoor readings");
    is(&ledger(&unplanned, &[("out", outdoors())]), Verdict::Short, "no accelerated readings");
    is(
        &ledger(&unplanned, &[("box", cabinet()), ("out", outdoors())]),
        Verdict::Met,
        "outdoor: worst chalking 9",
    );
    // Gloss outdoors is no chalking.
    let gloss = outdoors().into_iter().filter(|row| row.property == Property::Gloss60).collect();
    is(
        &ledger(&unplanned, &[("box", cabinet()), ("out", gloss)]),
        Verdict::Short,
        "chalking of panel T1 after any exposure is missing",
    );
    // However few panels are asked.
    let none = [(PLAN, ""), ("specimens: 1", "specimens: 0")];
    let gloss = outdoors().into_iter().filter(|row| row.property == Property::Gloss60).collect();
    is(
        &ledger(&none, &[("out", gloss)]),
        Verdict::Short,
        "chalking of panel T1 after any exposure is missing",
    );
}

#[test]
fn one_geometry_of_gloss_has_every_planned_reading() {
    let months = (", 500 h", "");
    let mixed = |last: Property| {
        let mut all = outdoors();
        all.push(row("T1", "rack", "0 months", Property::Gloss20, 80.0));
        let end = |row: &&mut TrialReading| row.property == Property::Gloss60 && row.exposure.number == 6.0;
        all.iter_mut().filter(end).for_each(|row| row.property = last);
        all
    };
    is(&ledger(&[months], &[("out", mixed(Property::Gloss60))]), Verdict::Met, "worst gloss-retention");
    is(
        &ledger(&[months], &[("out", mixed(Property::Gloss20))]),
        Verdict::Short,
        "gloss-retention (gloss-20) of panel T1 after 3 months is missing",
    );
    // What is due is what the series that has most lacks: here both have one, and the first is named.
    let running = [("state: done", "state: running"), months];
    let all = ledger(&running, &[("out", mixed(Property::Gloss20))]);
    let evaluation = evaluate(&all, today()).unwrap();
    let due = &trials(&all, &evaluation, today())[1].due;
    let of_t1 = ("gloss-retention".to_string(), vec!["T1".to_string()]);
    assert_eq!(due.iter().map(|due| &due.missing[..]).collect::<Vec<_>>(), [[of_t1]]);
}

#[test]
fn a_property_with_two_limits_is_shown_against_the_strictest() {
    let of = |limits: &str| {
        let all = ledger(&[(LIMITS, limits)], &[("out", outdoors())]);
        let evaluation = evaluate(&all, today()).unwrap();
        let rack = trials(&all, &evaluation, today()).remove(1).sites.remove(0);
        rack.properties.into_iter().find(|one| one.property == Property::GlossRetention).unwrap()
    };
    let strict = of("{property: gloss-retention, at_least: 80 %, exposure: outdoor}");
    let two = "{property: gloss-retention, at_least: 70 %}, \
        {property: gloss-retention, at_least: 80 %, at_most: 120 %, exposure: outdoor}";
    let found = of(two);
    assert_eq!(found.limit.as_deref(), Some("at least 80 % and at most 120 %"));
    let at = |one: &PropertyState| one.projected.clone().unwrap().unwrap().at;
    assert_eq!(at(&found), at(&strict));
    // Limits of another kind are none of this.
    let other = "{property: gloss-retention, at_least: 80 %, exposure: accelerated}, \
        {property: gloss-retention, at_least: 70 %, exposure: outdoor}";
    assert_eq!(of(other).limit.as_deref(), Some("at least 70 %"));
}

#[test]
fn a_reading_beyond_its_limit_fails_whatever_came_after() {
    let dip = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (3.0, 7.0, 88.0), (6.0, 9.0, 85.0)]);
    is(&ledger(&[], &[("out", dip), ("box", cabinet())]), Verdict::Failed, "chalking 7 after 3 months");
    // 62/90: 68.9 %.
    let dull = rows("U1", "cabinet", "h", &[(0.0, 10.0, 90.0), (500.0, 9.0, 62.0)]);
    is(
        &ledger(&[], &[("out", outdoors()), ("box", dull)]),
        Verdict::Failed,
        "gloss-retention (gloss-60) 68.89 % after 500 h",
    );
}

#[test]
fn a_running_trial_never_makes_a_duty_met_and_hides_no_failure() {
    let running = [
        ("state: done\n    trial: {sites: {rack", "state: running\n    trial: {sites: {rack"),
        (", 500 h", ""),
    ];
    let alone = [running[0], running[1]];
    is(
        &ledger(&alone, &[("out", outdoors())]),
        Verdict::Short,
        "rack (outdoor) read after 6 of 6 months; all within",
    );
    let dip = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (3.0, 7.0, 88.0)]);
    is(
        &ledger(&alone, &[("out", dip.clone())]),
        Verdict::Short,
        "chalking 7 after 3 months, limit at least 8",
    );
    // Beside a duty that is met it is said too.
    let hours = [running[0], ("3 months, 6 months, ", "")];
    is(&ledger(&hours, &[("out", dip), ("box", cabinet())]), Verdict::Met, "chalking 7 after 3 months");
}

#[test]
fn rejected_readings_count_for_nothing_and_many_leave_the_sample_short() {
    let alone = [(", 500 h", "")];
    let with = |n: usize| {
        let mut all = outdoors();
        all.extend((0..n).map(|_| TrialReading {
            rejected: Some("wet".to_string()),
            ..row("T1", "rack", "3 months", Property::Chalking, 1.0)
        }));
        ledger(&alone, &[("out", all)])
    };
    is(&with(1), Verdict::Met, "worst chalking 9");
    is(&with(2), Verdict::Short, "2 of 8 readings rejected");
}

#[test]
fn an_equivalence_is_a_trial_of_fewer_panels_against_the_same_limits() {
    let then = "    kind: test\n    state: done\n    trial: {sites: {cabinet";
    let now = "    kind: equivalence\n    baseline: out\n    state: done\n    trial: {sites: {cabinet";
    let primer = ("material: prime, dry_film: 25 um", "material: primer-two, dry_film: 25 um");
    let second = (
        "  col: {kind",
        "  primer-two: {kind: coating, role: primer, dry_density: 1500 kg/m3}\n  col: {kind",
    );
    let months = (", 500 h", "");
    let small = ("specimens: 1,", "specimens: 1, equivalence: {specimens: 1, panels: 1},");
    let moved = ("cabinet: {kind: accelerated}", "rack: {kind: outdoor, start: 2026-01-31}");
    // The primer is another since; the baseline then asks an equivalence, which was made over the new one.
    let made = |readings: Vec<TrialReading>| {
        let edits = [(then, now), primer, second, months, small, moved];
        let mut all = ledger(&edits, &[("out", outdoors()), ("box", readings)]);
        let found = conformity(&all, &unconformed(&all.evidence["box"]), Some("abc")).unwrap();
        let block: Conformed =
            serde_yaml::from_str(found.block().strip_prefix("conformed:\n").unwrap()).unwrap();
        let entry = all.evidence.get_mut("box").unwrap();
        entry.value = Arc::new(Evidence { conformed: Some(block), ..(*entry.value).clone() });
        all
    };
    is(&made(outdoors()), Verdict::Met, "values stay those of evidence/out");
    let dull = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (3.0, 7.0, 88.0), (6.0, 6.0, 85.0)]);
    is(&made(dull), Verdict::Failed, "chalking 7 after 3 months");
    let short = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0), (3.0, 9.0, 88.0)]);
    is(&made(short), Verdict::Short, "outdoor: 0 of 1 panels");
}

#[test]
fn an_equivalence_asks_no_more_panels_than_its_trial() {
    let plan = |plan: &str| {
        let all = ledger(&[("plan: {specimens: 1,", plan)], &[]);
        pool::equivalence_plan(&all.showings["trial"].value)
    };
    assert_eq!(plan("plan: {specimens: 1,"), (1, 1));
    assert_eq!(plan("plan: {"), (1, 1));
    assert_eq!(plan("plan: {specimens: 3,"), (3, 2));
    assert_eq!(plan("plan: {specimens: 12,"), (8, 2));
    assert_eq!(plan("plan: {specimens: 3, equivalence: {specimens: 4, panels: 4},"), (4, 4));
}

fn unconformed(entry: &Entry<Evidence>) -> Entry<Evidence> {
    Entry { value: Arc::new(Evidence { conformed: None, ..(*entry.value).clone() }), ..entry.clone() }
}

#[test]
fn a_control_in_the_dark_is_judged_by_nothing() {
    let mut all = outdoors();
    all.extend(rows("T9", "store", "months", &[(0.0, 10.0, 90.0), (6.0, 2.0, 20.0)]));
    let dark = [("start: 2026-01-31}", "start: 2026-01-31}, store: {kind: dark}"), (", 500 h", "")];
    is(&ledger(&dark, &[("out", all)]), Verdict::Met, "worst chalking 9");
}

#[test]
fn readings_fall_due_by_the_calendar_outdoors_and_by_hours_in_a_cabinet() {
    let running = [("state: done", "state: running")];
    let part = rows("T1", "rack", "months", &[(0.0, 10.0, 90.0)]);
    let ledger = ledger(&running, &[("out", part)]);
    let evaluation = evaluate(&ledger, today()).unwrap();
    let all = trials(&ledger, &evaluation, today());
    let words = |at: usize| -> Vec<String> {
        let one =
            |due: &Due| format!("{} {:?} {}", due.exposure, due.on.map(|day| day.to_string()), due.overdue);
        all[at].due.iter().map(one).collect()
    };
    assert_eq!(words(0), ["500 h None false"]);
    assert_eq!(words(1), ["3 months Some(\"2026-04-30\") true", "6 months Some(\"2026-07-31\") false"]);
    let of_t1 = |property: &str| (property.to_string(), vec!["T1".to_string()]);
    assert_eq!(all[1].due[0].missing, [of_t1("chalking"), of_t1("gloss-retention")]);
}

#[test]
fn an_article_lives_as_long_as_something_is_made_like_it() {
    let stands = |edits: &[(&str, &str)]| {
        let ledger = ledger(edits, &[("out", outdoors()), ("box", cabinet())]);
        let evaluation = evaluate(&ledger, today()).unwrap();
        trials(&ledger, &evaluation, today()).remove(1).living
    };
    let living = stands(&[]);
    assert_eq!((living.stands, living.subjects), (Stands::Living, vec!["painted/skin+white".to_string()]));
    let gone = stands(&[("material: col,", "material: other,")]);
    let (subject, asks, because) = gone.nearest.unwrap();
    assert_eq!((gone.stands, subject.as_str(), asks), (Stands::Gone, "painted/skin+white", Asks::Retest));
    assert!(because.iter().any(|reason| reason.attribute == "base-coat"), "{because:?}");
}

#[test]
fn colours_and_masses_are_held_against_the_first_reading() {
    let mut all = Vec::new();
    for (at, [l, a, b], mass) in
        [("0 h", [50.0, 2.6772, -79.7751], 200.0), ("500 h", [50.0, 0.0, -82.7485], 201.0)]
    {
        all.push(row("U1", "cabinet", at, Property::ColourL, l));
        all.push(row("U1", "cabinet", at, Property::ColourA, a));
        all.push(row("U1", "cabinet", at, Property::ColourB, b));
        all.push(row("U1", "cabinet", at, Property::Mass, mass));
    }
    let ledger = ledger(&[], &[("box", all)]);
    let found = series(&ledger, &ledger.evidence["box"]);
    let last = |property: Property| {
        let one = found.iter().find(|one| one.property == property).unwrap();
        one.points.last().unwrap().value.number().unwrap()
    };
    // Sharma, Wu, Dalal 2005, table 1: 2.0425.
    assert!((last(Property::ColourDifference2000) - 2.0425).abs() < 1e-4);
    // By hand: sqrt(2.6772^2 + 2.9734^2) = 4.0011.
    assert!((last(Property::ColourDifference) - 4.0011).abs() < 1e-4);
    assert!((last(Property::MassChange) - 0.5).abs() < 1e-12);
    assert!(!found.iter().any(|one| one.property.is_coordinate()));
}

#[test]
fn a_colour_is_that_of_its_own_panel_and_site() {
    let mut all = Vec::new();
    for (at, panel, site, end) in
        [(500.0, "U1", "cabinet", 1.0), (250.0, "U2", "cabinet", 2.0), (500.0, "U1", "rack", 3.0)]
    {
        // The last reading stands first in the file.
        for (exposure, b) in [(at, end), (0.0, 0.0)] {
            let exposure = format!("{exposure} h");
            all.push(row(panel, site, &exposure, Property::ColourL, 50.0));
            all.push(row(panel, site, &exposure, Property::ColourA, 0.0));
            all.push(row(panel, site, &exposure, Property::ColourB, b));
        }
    }
    let two = ("cabinet: {kind: accelerated}", "cabinet: {kind: accelerated}, rack: {kind: accelerated}");
    let ledger = ledger(&[two], &[("box", all)]);
    let found = series(&ledger, &ledger.evidence["box"]);
    let colours = found.iter().filter(|one| one.property == Property::ColourDifference);
    let last = |one: &Series| (one.panel.clone(), one.site.clone(), one.points.last().unwrap().value);
    let of = |panel: &str, site: &str, by| (panel.to_string(), site.to_string(), Graded::Number(by));
    let wanted = [of("U1", "cabinet", 1.0), of("U2", "cabinet", 2.0), of("U1", "rack", 3.0)];
    assert_eq!(colours.map(last).collect::<Vec<_>>(), wanted);
}

#[test]
fn the_worst_is_that_of_the_limits_side() {
    let limit = |yaml: &str| serde_yaml::from_str::<ReadingLimit>(yaml).unwrap();
    let numbers = [3.0, 1.0, 2.0].map(Graded::Number);
    assert_eq!(worst_of(&numbers, &limit("{property: chalking, at_least: 8}")), Some(Graded::Number(1.0)));
    assert_eq!(
        worst_of(&numbers, &limit("{property: colour-difference, at_most: 3}")),
        Some(Graded::Number(3.0))
    );
    let blisters = ["10", "8M", "8F", "9D"].map(|text| Graded::Blisters(Blisters::parse(text).unwrap()));
    let worst = worst_of(&blisters, &limit("{property: blistering, at_least: 8F}")).unwrap();
    assert_eq!(worst.to_string(), "8M");
}
