use super::*;
use crate::article::Subject;
use crate::change::diff::Change;
use crate::change::impact::{PanelDelta, PanelRow, impact};
use crate::qualify::judge::Reason;
use crate::qualify::retest::{AttributeLimit, PlanStep, RetestPlan, StepKind};
use crate::report::fixture::{base, edited, fits, keys, today};
use crate::report::page::Style;
use thin_vec::thin_vec;

fn lamina(material: &str) -> Subject {
    Subject::parse(&format!("lamina/{material}@oven-120")).unwrap()
}

fn reason(is: &str) -> Reason {
    Reason {
        attribute: "resin-content.a".into(),
        was: "37 %".into(),
        is: is.into(),
        effect: Asks::Equivalence,
        rule: "lamina-strength-fibre x resin-content: within 3 points asks equivalence".into(),
        source: "common practice, no source".into(),
        evidence: Some("tension-1".into()),
        panels: thin_vec!["cowl-upper".into(), "bow-hatch".into()],
    }
}

fn row(showing: &str, was: Option<Verdict>, now: Verdict, is: &str) -> DutyRow {
    DutyRow {
        showing: showing.into(),
        subject: lamina("cw-200-e1"),
        was_subject: None,
        was,
        was_asks: was.map(|_| Asks::None),
        now,
        asks: if now.is_closed() { Asks::None } else { Asks::Equivalence },
        because: vec![reason(is)],
        own: Vec::new(),
        panels: vec!["cowl-upper".into(), "bow-hatch".into()],
    }
}

fn step(showing: &str, start: f64) -> PlanStep {
    PlanStep {
        showing: showing.into(),
        build: Subject::parse("bond/paste-a@bond-rt:laminate.hatch-outer+sheet.acrylic-a").unwrap(),
        closes: vec![lamina("gw-105-e1"), lamina("cw-200-e1")],
        kind: StepKind::Equivalence,
        specimens: 9,
        panels: 2,
        shares: None,
        lead_weeks: 0.0,
        layup_weeks: 1.0,
        conditioning_weeks: 4.25,
        conditioned_with: None,
        test_weeks: 1.0833,
        weeks: 6.3333,
        start,
        baselines: Vec::new(),
        power: None,
        cost: None,
        prerequisite: start == 0.0,
    }
}

/// A duty that is still not met, by another word.
pub(in crate::report) fn nearer() -> DutyRow {
    row("no-longer-lapsed", Some(Verdict::Lapsed), Verdict::Open, "38 %")
}

/// One of everything.
pub(in crate::report) fn full() -> Impact {
    use Verdict::*;
    let mut duties: Vec<DutyRow> =
        (0..9).map(|n| row(&format!("strength-{n}"), Some(Met), Lapsed, "39.5 %")).collect();
    duties.push(row("tension-cold", Some(Met), Lapsed, "40 %"));
    duties.push(row("glass-transition", Some(Met), Failed, "39.5 %"));
    duties.push(row("impact", None, Open, "39.5 %"));
    duties.push(row("bearing", Some(Met), Short, "39.5 %"));
    duties.push(DutyRow {
        was_subject: Some(lamina("old")),
        own: vec![reason("41 %")],
        ..row("open-hole", Some(Lapsed), Lapsed, "39.5 %")
    });
    duties.push(row("interlaminar", Some(Lapsed), Met, "37 %"));
    duties.push(row("modulus", None, Met, "37 %"));
    duties.push(row("physicals", Some(Met), Conceded, "37 %"));
    Impact {
        base: "HEAD".into(),
        head: "work tree".into(),
        verdict: "From HEAD to work tree, 1 attribute differs.".into(),
        weaker: Vec::new(),
        changes: vec![
            Change {
                address: "recipe/hatch-outer#layers.3.angle".into(),
                attribute: "layers.angle".into(),
                was: None,
                is: Some("45 deg".into()),
                facet: None,
                class: None,
            },
            Change {
                address: "material/cw-200-e1#resin.content".into(),
                attribute: "resin.content".into(),
                was: Some("37 %".into()),
                is: Some("39.5 %".into()),
                facet: Some("resin-content".into()),
                class: Some("A"),
            },
        ],
        mass: (10.0, 10.25),
        panels: vec![
            PanelDelta { panel: "rudder".into(), delta: -0.05 },
            PanelDelta { panel: "bow-hatch".into(), delta: 0.3 },
        ],
        duties,
        panel_rows: vec![PanelRow {
            showing: "fatigue".into(),
            subject: lamina("cw-200-e1"),
            panel: "belly-cover".into(),
            was: Some(Met),
            now: Lapsed,
            asks: Asks::Retest,
        }],
        ended: vec![("flatwise".into(), Subject::Laminate("hatch-outer".into()), Met)],
        renewed: std::collections::BTreeMap::new(),
        is_first: false,
        margins: Vec::new(),
        cost: None,
        balance: Vec::new(),
        over: Vec::new(),
        retest: RetestPlan {
            chance: Some((2, crate::statistics::chance_failures([0.05; 2]))),
            steps: vec![step("wet-tg", 0.0), step("a-showing-with-quite-a-long-name-in-its-row", 6.3333)],
            specimens: 18,
            panels: 4,
            weeks: 12.6666,
            cost: None,
            missing: vec!["ledger#rates.panel_layup".into()],
            critical_path: vec!["showing/wet-tg lamina/cw-200-e1@oven-120".into(), "showing/b x".into()],
            ways: vec!["undo: resin-content.a".into()],
            limits: vec![AttributeLimit {
                finish: "white".into(),
                attribute: "film-build.max",
                now: 289.0,
                largest: 240.0,
                restores: vec![("wet-tg".into(), lamina("cw-200-e1"))],
                leaves: 1,
            }],
            assumptions: vec!["3e-7 mm2/s assumed".into()],
        },
        assumptions: (0..9).map(|n| format!("finish/white-{n} gives no emittance: 0.90 assumed")).collect(),
        grounded: vec!["bow-hatch".into()],
    }
}

#[test]
fn json_has_the_keys_that_are_held_to() {
    let got = json(&full());
    let wanted = [
        "schema",
        "base",
        "head",
        "verdict",
        "changes",
        "weakened",
        "mass",
        "panels",
        "balance",
        "over_budget",
        "cost",
        "margins",
        "duties",
        "ended",
        "retest",
        "panel_verdicts",
        "assumptions",
        "grounded",
        "caution",
    ];
    assert_eq!(keys(&got), wanted);
    assert_eq!(got["schema"], "impact/1");
    assert_eq!(keys(&got["changes"][0]), ["address", "attribute", "was", "is", "facet", "class"]);
    assert_eq!(got["changes"][0]["address"], "material/cw-200-e1#resin.content");
    assert_eq!((&got["changes"][1]["was"], &got["changes"][1]["facet"]), (&Value::Null, &Value::Null));
    assert_eq!(got["mass"], json!({ "was_kg": 10.0, "is_kg": 10.25, "delta_kg": 0.25 }));
    assert_eq!(got["panels"][0], json!({ "panel": "bow-hatch", "delta_kg": 0.3 }));
    let duty = &got["duties"][0];
    let wanted =
        ["showing", "subject", "was_subject", "was", "was_asks", "now", "asks", "because", "own", "panels"];
    assert_eq!(keys(duty), wanted);
    let wanted = ["attribute", "was", "is", "effect", "rule", "source", "evidence", "panels"];
    assert_eq!(keys(&duty["because"][0]), wanted);
    assert_eq!(duty["because"][0]["effect"], "equivalence");
    assert_eq!(duty["because"][0]["panels"], json!(["bow-hatch", "cowl-upper"]));
    assert_eq!(duty["subject"], "lamina/cw-200-e1@oven-120");
    let of = |name: &str| {
        got["duties"].as_array().unwrap().iter().find(|duty| duty["showing"] == name).unwrap().clone()
    };
    assert_eq!(of("impact")["was"], Value::Null);
    assert_eq!(of("open-hole")["was_subject"], "lamina/old@oven-120");
    assert_eq!(of("open-hole")["own"][0]["is"], "41 %");
    let names: Vec<&str> =
        got["duties"].as_array().unwrap().iter().map(|duty| duty["showing"].as_str().unwrap()).collect();
    assert!(names.is_sorted() && names.len() == full().duties.len(), "{names:?}");
    assert_eq!(keys(&got["ended"][0]), ["showing", "subject", "was", "now_subject"]);
    let retest = &got["retest"];
    let wanted = [
        "specimens",
        "panels",
        "weeks",
        "cost",
        "missing",
        "critical_path",
        "steps",
        "ways",
        "limits",
        "equivalences",
        "assumptions",
    ];
    assert_eq!(keys(retest), wanted);
    let limit = json!({
        "finish": "white",
        "attribute": "film-build.max",
        "unit": "um",
        "now": 289.0,
        "largest": 240.0,
        "restores": [{"showing": "wet-tg", "subject": "lamina/cw-200-e1@oven-120"}],
        "leaves": 1,
    });
    assert_eq!(retest["limits"][0], limit);
    assert_eq!((&retest["cost"], &retest["weeks"]), (&Value::Null, &json!(12.6666)));
    let wanted = [
        "showing",
        "build",
        "closes",
        "kind",
        "specimens",
        "panels",
        "shares",
        "lead_weeks",
        "layup_weeks",
        "conditioning_weeks",
        "conditioned_with",
        "test_weeks",
        "start_week",
        "weeks",
        "power_one_sd",
        "cost",
        "prerequisite",
    ];
    assert_eq!(keys(&retest["steps"][0]), wanted);
    assert_eq!(retest["steps"][0]["closes"][0], "lamina/cw-200-e1@oven-120");
    let wanted = ["showing", "subject", "panel", "was", "now", "asks"];
    assert_eq!(keys(&got["panel_verdicts"][0]), wanted);
}

#[test]
fn text_fits_every_width_and_names_every_duty_with_all() {
    for width in [40, 60, 72, 80, 120] {
        for all in [false, true] {
            let frame = Frame { width, all, ..Frame::default() };
            let got = text(&full(), &frame);
            fits(&got, width);
            assert!(got.starts_with("From HEAD to work tree"), "{got}");
            let flat = got.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.ends_with(CAUTION_LINE), "{got}");
            for row in full().duties.iter().filter(|_| all) {
                assert!(flat.contains(&row.showing), "{} in\n{got}", row.showing);
            }
        }
    }
}

#[test]
fn every_heading_is_there_once_in_its_order() {
    let got = text(&full(), &Frame::default());
    let headings = [
        "Mass by panel, all counted pieces",
        "Edits (2)",
        "Lapsed (10)",
        "Failed (1)",
        "Open (1)",
        "Short (1)",
        "Not met before, asking more now (1)",
        "Met again (1)",
        "New and met (1)",
        "Met or conceded before and still, in another way (1)",
        "Ended, no longer asked (1)",
        "Single panels, where the duty as a whole stays (1)",
        "To prove it again",
        "Assumed from now on: 9 assumptions",
    ];
    let lines: Vec<&str> = got.lines().collect();
    let places: Vec<usize> =
        headings.iter().map(|want| lines.iter().position(|line| line == want).expect(want)).collect();
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn equal_reasons_are_said_once_and_counted() {
    let got = text(&full(), &Frame::default());
    let lapsed = "\
Lapsed (10)
▽ lapsed   strength-0 lamina/cw-200-e1@oven-120
    was met; asks equivalence; panels cowl-upper, bow-hatch
    - resin-content.a: 37 % → 39.5 %; asks equivalence; rule:
      lamina-strength-fibre x resin-content: within 3 points asks equivalence;
      source: common practice, no source; against evidence/tension-1
    and 8 more duties for the same reason:
      strength-1 lamina/cw-200-e1@oven-120
      strength-2 lamina/cw-200-e1@oven-120
      strength-3 lamina/cw-200-e1@oven-120
      strength-4 lamina/cw-200-e1@oven-120
      strength-5 lamina/cw-200-e1@oven-120
      … 3 more
▽ lapsed   tension-cold lamina/cw-200-e1@oven-120
";
    assert!(got.contains(lapsed), "{got}");
    let all = text(&full(), &Frame { all: true, ..Frame::default() });
    assert!(!all.contains("for the same reason") && !all.contains('…'), "{all}");
}

#[test]
fn long_lists_are_cut_with_a_count() {
    let mut many = full();
    many.duties =
        (0..40).map(|n| row("strength", Some(Verdict::Met), Verdict::Lapsed, &format!("{n} %"))).collect();
    let got = text(&many, &Frame::default());
    assert_eq!(got.matches("▽ lapsed   strength").count(), DUTIES_SHOWN);
    assert!(got.contains("… and 28 more duties; --all shows them"), "{got}");
    many.changes = (0..22).map(|_| full().changes.remove(0)).collect();
    assert!(text(&many, &Frame::default()).contains("… and 2 more edits; --all shows them"));
}

#[test]
fn the_plan_reads_as_rows_where_there_is_room() {
    let got = text(&full(), &Frame::default());
    let rows = "
 week  showing                       kind         spec.  panels  weeks      cost
--------------------------------------------------------------------------------
  0.0  wet-tg                        equivalence      9       2    6.3         ?
       builds bond/paste-a@bond-rt:laminate.hatch-outer+sheet.acrylic-a; closes
         also lamina/gw-105-e1@oven-120, lamina/cw-200-e1@oven-120; needed first
         by another step
       a-showing-with-quite-a-long-name-in-its-row
  6.3                                equivalence      9       2    6.3         ?
";
    assert!(got.contains(rows), "{got}");
    for part in [
        "In all 18 specimens from 4 panels, 12.7 weeks, cost not known.",
        "Not given: ledger#rates.panel_layup",
        "Critical path: showing/wet-tg",
        "Ways without a test:\n  - undo: resin-content.a",
        "The plan assumes:\n  - 3e-7 mm2/s assumed",
    ] {
        assert!(got.contains(part), "{part} in\n{got}");
    }
}

#[test]
fn colour_changes_no_word_and_pounds_are_shown_where_they_are_used() {
    let plain = text(&full(), &Frame::default());
    let coloured = text(&full(), &Frame { style: Style { colour: true }, ..Frame::default() });
    assert!(coloured.contains('\u{1b}'));
    assert_eq!(anstream::adapter::strip_str(&coloured).to_string(), plain);
    // 0.3 kg / 0.45359237 = 0.661 lb (NIST SP 811, appendix B).
    let imperial = text(&full(), &Frame { units: UnitSystem::Imperial, ..Frame::default() });
    assert!(imperial.contains("bow-hatch  +0.661"), "{imperial}");
}

#[test]
fn a_real_change_is_told_from_edit_to_plan() {
    let (old, new) = (base(), edited("areal: 200 g/m2", "areal: 240 g/m2"));
    let found = impact((&old, "HEAD"), (&new, "work tree"), today()).unwrap();
    let got = json(&found);
    let duties = got["duties"].as_array().unwrap();
    assert_eq!(duties.len(), 2, "{duties:#?}");
    assert!(
        duties.iter().all(|duty| duty["now"] == "lapsed" && !duty["because"].as_array().unwrap().is_empty())
    );
    // 240 / 200 of the fibre, 5 m2 of two plies each: 10 x 0.04 / 0.62 kg more.
    let delta = got["mass"]["delta_kg"].as_f64().unwrap();
    assert!((delta - 10.0 * 0.04 / 0.62).abs() < 1e-9, "{delta}");
    for width in [60, 80] {
        let words = text(&found, &Frame::of(&new, width, Style::default(), false));
        fits(&words, width);
        for part in ["fibre-areal.a: 200 g/m2 → 240 g/m2", "2 420 EUR", "▽ lapsed   tension"] {
            assert!(words.contains(part), "{part} in\n{words}");
        }
    }
    let same = impact((&old, "HEAD"), (&base(), "work tree"), today()).unwrap();
    let words = text(&same, &Frame::default());
    assert!(words.starts_with("Nothing differs") && !words.contains("To prove it again"), "{words}");
}
