use super::*;
use crate::article::fixture::ledger as read;
use crate::qualify::fixture::{edited, judged, today};
use crate::qualify::tests::conform_all;
use crate::qualify::verdict::evaluate;

/// The cloth is heavier than its tension was shown for; a concession, and what was weighed.
fn ledger(concession: &str, weighings: &str) -> Ledger {
    let beside = read(&format!(
        "ledger: {{format: 1, programme: p}}
concessions:
  c-1: {{showing: tension, subject: {{lamina: [cw, oven]}}, reason: r, {concession}, approvals: [{{role: lead, on: 2026-02-01}}]}}
weighings: {{{weighings}}}
"
    ));
    let mut all = edited("areal: 200 g/m2", "areal: 240 g/m2");
    (all.concessions, all.weighings) = (beside.concessions, beside.weighings);
    all
}

fn said(concession: &str, weighings: &str) -> (Verdict, String) {
    let evaluation = judged(&ledger(concession, weighings));
    let (_, duty) = evaluation
        .duties
        .iter()
        .find(|(key, _)| key.0 == "tension" && key.1.to_string() == "lamina/cw@oven")
        .unwrap();
    let judged = duty.panels.get("bow-hatch").unwrap();
    let words = judged.because.iter().find(|reason| reason.attribute == "concession").unwrap();
    (judged.verdict, words.is.to_string())
}

const ALL: &str = "covers: {fibre-areal.a: {at_most: 240 g/m2}}, until: 2027-01-01";

#[test]
fn what_a_concession_lacks_is_told_apart() {
    assert_eq!(said(ALL, ""), (Verdict::Conceded, "concession/c-1 until 2027-01-01".to_string()));
    let less = ALL.replace("240 g/m2", "230 g/m2");
    let lacks = |words: &str| format!("concession/c-1 does not cover fibre-areal.a ({words})");
    assert_eq!(said(&less, ""), (Verdict::Lapsed, lacks("240 g/m2, and it says at most 230 g/m2")));
    // In another unit it is held against the same; a bound of another quantity, or a name that is cut short, is told.
    let other = |bound: &str| said(&ALL.replace("240 g/m2", bound), "");
    assert_eq!(other("0.24 kg/m2").0, Verdict::Conceded);
    assert_eq!(
        other("240 mm"),
        (Verdict::Lapsed, lacks("240 g/m2, and it says at most 240 mm, which can't be held against that"))
    );
    // A bare number is none of them.
    assert_eq!(
        other("9999"),
        (Verdict::Lapsed, lacks("240 g/m2, and it says at most 9999, which can't be held against that"))
    );
    let short = ALL.replace("fibre-areal.a", "fibre-areal");
    assert_eq!(
        said(&short, ""),
        (Verdict::Lapsed, lacks("it names `fibre-areal`, which is no whole name: write `fibre-areal.a`"))
    );
    // What is said to be approved later is not approved yet; where today ends it may be tomorrow elsewhere.
    let approved = |on: &str| {
        let mut all = ledger(ALL, "");
        let asked = "ledger: {format: 1, programme: p, approvals: {decision: [lead], concession: [lead]}}";
        all.head.as_mut().unwrap().approvals = read(asked).head.unwrap().approvals.clone();
        let own = std::sync::Arc::make_mut(&mut all.concessions.get_mut("c-1").unwrap().value);
        own.approvals[0].on = Day::parse(on).unwrap();
        let evaluation = judged(&all);
        let duty = evaluation.duties.values().find(|duty| duty.showing == "tension").unwrap();
        duty.verdict()
    };
    assert_eq!(today(), Day::parse("2026-03-14").unwrap());
    assert_eq!(["2026-03-14", "2026-03-15"].map(approved), [Verdict::Conceded; 2]);
    assert_eq!(["2026-03-16", "2027-03-14"].map(approved), [Verdict::Lapsed; 2]);
    // On its last day it holds, and not on the day after.
    let day = today().to_string();
    let last = ALL.replace("2027-01-01", &day);
    assert_eq!(said(&last, "").0, Verdict::Conceded);
    let ended = ALL.replace("2027-01-01", "2026-03-01");
    assert_eq!(said(&ended, ""), (Verdict::Lapsed, "concession/c-1 ended on 2026-03-01".to_string()));
    // What it never reached it did not lose by ending.
    assert_eq!(
        said(&ended.replace("240 g/m2", "230 g/m2"), "").1,
        lacks("240 g/m2, and it says at most 230 g/m2")
    );
}

/// By hand: an aircraft of the fixture has two hatches and one fairing of the cloth, all of which lean on the concession.
#[test]
fn a_concession_is_for_all_pieces_of_one_aircraft() {
    let with = |units: &str| said(&format!("{ALL}, {units}"), "");
    assert_eq!(
        with("limit: 3"),
        (Verdict::Conceded, "concession/c-1 until 2027-01-01, 0 of 3 on record".to_string())
    );
    assert_eq!(with("serials: [H-1, H-2, F-1]").0, Verdict::Conceded);
    // A serial is one piece, of whichever panel: two are not for three.
    let shared = "concession/c-1 is used up: it is for 2 units, and 3 are asked of bow-hatch, tail-fairing";
    assert_eq!(with("serials: [H-1, H-2]"), (Verdict::Lapsed, shared.to_string()));
    let hatches = "w-1: {panel: bow-hatch, serial: H-1, mass: 5 kg, on: 2026-02-10}, w-2: {panel: bow-hatch, serial: H-2, mass: 5 kg, on: 2026-02-10}";
    assert_eq!(said(&format!("{ALL}, serials: [H-1, H-2]"), hatches).0, Verdict::Conceded);
    let few = "concession/c-1 is used up: it is for 2 units, one aircraft has 3 of bow-hatch, tail-fairing";
    assert_eq!(with("limit: 2"), (Verdict::Lapsed, few.to_string()));
    let few = "concession/c-1 is used up: it is for 1 unit of bow-hatch, one aircraft has 2";
    assert_eq!(with("serials: [H-1]"), (Verdict::Lapsed, few.to_string()));
    let one = "w-1: {panel: bow-hatch, serial: H-1, mass: 5 kg, on: 2026-02-10}";
    let beside = "concession/c-1 is used up: beside those on record it is for 1 unit, and 2 are asked of bow-hatch, tail-fairing";
    assert_eq!(said(&format!("{ALL}, serials: [H-1, H-2]"), one), (Verdict::Lapsed, beside.to_string()));
    // One that is on record as two panels' is a piece of nobody knows which.
    let twice = format!("{hatches}, w-3: {{panel: tail-fairing, serial: H-2, mass: 5 kg, on: 2026-02-10}}");
    assert_eq!(said(&format!("{ALL}, serials: [H-1, H-2]"), &twice).0, Verdict::Lapsed);
    // What is known as a piece of another panel is none of this one.
    let fairing = "w-1: {panel: tail-fairing, serial: H-2, mass: 5 kg, on: 2026-01-10}";
    let (verdict, words) = said(&format!("{ALL}, serials: [H-1, H-2]"), fairing);
    assert_eq!((verdict, words), (Verdict::Lapsed, few.to_string()));
    let both = "w-1: {panel: tail-fairing, serial: H-1, mass: 5 kg, on: 2026-01-10}, w-2: {panel: tail-fairing, serial: H-2, mass: 5 kg, on: 2026-01-10}";
    let (_, words) = said(&format!("{ALL}, serials: [H-1, H-2]"), both);
    assert_eq!(words, "concession/c-1 is used up: it is for no unit of bow-hatch, one aircraft has 2");
    // One serial written twice is one piece.
    assert_eq!(with("serials: [H-1, H-1]").0, Verdict::Lapsed);
    // Of a limit and serials the smaller counts.
    assert_eq!(with("serials: [H-1, H-2, F-1], limit: 2").0, Verdict::Lapsed);
}

#[test]
fn pieces_on_record_use_a_concession_up() {
    let piece = |id: u32, serial: &str, on: &str| {
        format!("w-{id}: {{panel: bow-hatch, {serial} mass: 5 kg, {on}}}, ")
    };
    let since = |id: u32| piece(id, &format!("serial: H-{id},"), "on: 2026-02-10");
    let two = since(1) + &since(2);
    let three = two.clone() + &since(3);
    let limit = format!("{ALL}, limit: 3");
    assert_eq!(
        said(&limit, &three),
        (Verdict::Conceded, "concession/c-1 until 2027-01-01, 3 of 3 on record".to_string())
    );
    let used = "concession/c-1 is used up: it is for 3 units, on record are 4: H-1, H-2, H-3, H-4";
    assert_eq!(said(&limit, &(three.clone() + &since(4))), (Verdict::Lapsed, used.to_string()));
    // The same piece on the scale again is no further one; one from before was built without the concession.
    assert_eq!(
        said(&limit, &(three.clone() + &piece(4, "serial: H-2,", "on: 2026-02-12"))).0,
        Verdict::Conceded
    );
    assert_eq!(
        said(&limit, &(three.clone() + &piece(4, "serial: H-4,", "on: 2026-01-31"))).0,
        Verdict::Conceded
    );
    // A day or a serial that nobody wrote may be any.
    assert_eq!(
        said(&limit, &(three.clone() + &piece(4, "serial: H-4,", "condition: painted"))).0,
        Verdict::Lapsed
    );
    assert_eq!(said(&limit, &(three.clone() + &piece(4, "", "on: 2026-02-12"))).0, Verdict::Lapsed);
    // By name.
    let serials = format!("{ALL}, serials: [H-1, H-2]");
    assert_eq!(said(&serials, &two).0, Verdict::Conceded);
    let (verdict, words) = said(&serials, &(two + &since(3)));
    assert_eq!(verdict, Verdict::Lapsed);
    assert_eq!(words, "concession/c-1 is used up: H-3 of bow-hatch is on record, which it does not name");
}

/// A panel with two joints of one bond, hot and cold tests and a stiffness that rests on one of them; invented.
const JOINTS: &str = "
ledger:
  format: 1
  programme: Test (invented)
  climate: {ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s, structural_wind: 2 m/s}
materials:
  cw: {kind: prepreg, fibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}, resin: {name: ep-1, density: 1240 kg/m3, content: 37 %}}
  paste: {kind: adhesive, density: 1100 kg/m3}
  top: {kind: coating, role: colour, dry_density: 1400 kg/m3}
processes: {oven: {method: oven}, glue: {method: bond}}
finishes: {coat: {colour: {solar_absorptance: 0.30, emittance: 0.90}, coats: [{material: top, dry_film: 40 um}]}}
recipes: {solid: {class: structural, process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 90}]}}
panels:
  p:
    class: structural
    exposure: {zone: outdoor, minimum: -30 degC}
    zones: [{name: a, area: 1 m2, recipe: solid, finish: coat}, {name: b, area: 1 m2, recipe: solid, exposure: {sun: false}}]
    joints:
      - {name: one, adhesive: paste, process: glue, between: [a, b], length: 1 m, width: 18 mm, thickness: 0.5 mm}
      - {name: two, adhesive: paste, process: glue, between: [a, b], length: 1 m, width: 19 mm, thickness: 0.5 mm}
showings:
  bond: {kind: bond-shear, accept: {all_at_least: 1 MPa}}
  cold: {kind: lamina-strength-fibre, accept: {all_at_least: 500 MPa}, environment: {temperature: -30 degC}}
  hot: {kind: lamina-strength-fibre, accept: {all_at_least: 500 MPa}, environment: {temperature: 82 degC}}
  stiff: {kind: stiffness, accept: {margin_at_least: 0}, rests_on: [hot]}
evidence:
  e-1: {showing: bond, subject: {bond: [paste, glue, laminate.solid, laminate.solid]}, kind: test, state: done, result: {value: 2 MPa}}
  e-2: {showing: cold, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 600 MPa}}
  e-3: {showing: hot, subject: {lamina: [cw, oven]}, kind: test, state: done, result: {value: 600 MPa}}
  e-4: {showing: stiff, subject: {panel: p}, kind: test, state: done, result: {value: 0.2}}
";

/// What a concession comes to after edits of the design.
fn conceded(showing: &str, subject: &str, covers: &str, edits: &[(&str, &str)]) -> (Verdict, String) {
    let mut before = read(JOINTS);
    conform_all(&mut before);
    let mut text = JOINTS.to_string();
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    text += &format!(
        "concessions:\n  c: {{showing: {showing}, subject: {subject}, reason: r, covers: {covers}, until: 2027-01-01}}\n"
    );
    let mut after = read(&text);
    for (id, entry) in &mut after.evidence {
        let conformed = before.evidence[id].value.conformed.clone();
        Arc::make_mut(&mut entry.value).conformed = conformed;
    }
    let all = evaluate(&after, today()).unwrap();
    let duty = all.duties.values().find(|duty| duty.showing == showing).unwrap();
    let judged = duty.panels.get("p").unwrap();
    let words = judged.because.iter().find(|reason| reason.attribute == "concession").unwrap();
    (judged.verdict, words.is.to_string())
}

/// A panel's verdict shows the gravest of its joints, and a concession speaks of the panel.
#[test]
fn what_one_joint_lacks_is_not_conceded_for_another() {
    let bond = "{bond: [paste, glue, laminate.solid, laminate.solid]}";
    let holds = "concession/c until 2027-01-01";
    let covers = "{geometry.width: {at_least: 10 mm}}";
    let one = [("width: 18 mm", "width: 12 mm")];
    assert_eq!(conceded("bond", bond, covers, &one), (Verdict::Conceded, holds.to_string()));
    let both = [one[0], ("width: 19 mm, thickness: 0.5 mm", "width: 19 mm, thickness: 3 mm")];
    let (verdict, words) = conceded("bond", bond, covers, &both);
    assert_eq!(
        (verdict, words.as_str()),
        (Verdict::Lapsed, "concession/c does not cover geometry.thickness")
    );
    let more = "{geometry.width: {at_least: 10 mm}, geometry.thickness: {at_most: 3 mm}}";
    assert_eq!(conceded("bond", bond, more, &both), (Verdict::Conceded, holds.to_string()));
    // Less of the same is further too.
    let narrow = [one[0], ("width: 19 mm", "width: 5 mm")];
    assert_eq!(conceded("bond", bond, covers, &narrow).0, Verdict::Lapsed);
}

/// The skin by hand at absorptance 0.90: 85.6 degC, as in the story of the night blue hatch.
#[test]
fn heat_and_cold_are_conceded_up_to_a_figure() {
    let lamina = "{lamina: [cw, oven]}";
    let dark = [("solar_absorptance: 0.30", "solar_absorptance: 0.90")];
    let hot =
        |bound: &str| conceded("hot", lamina, &format!("{{skin.structural: {{at_most: {bound}}}}}"), &dark);
    assert_eq!(hot("86 degC").0, Verdict::Conceded, "{:?}", hot("86 degC"));
    let lacks = "concession/c does not cover skin.structural (85.6 degC, and it says at most 85 degC)";
    assert_eq!(hot("85 degC"), (Verdict::Lapsed, lacks.to_string()));
    let cold = |bound: &str| {
        let covers = format!("{{exposure.minimum: {{at_least: {bound}}}}}");
        conceded("cold", lamina, &covers, &[("minimum: -30 degC", "minimum: -40 degC")])
    };
    assert_eq!(cold("-40 degC").0, Verdict::Conceded, "{:?}", cold("-40 degC"));
    assert_eq!(cold("-39 degC").0, Verdict::Lapsed);
}

#[test]
fn a_conceded_failure_does_not_hide_what_it_rests_on() {
    let failed = ("result: {value: 0.2}", "result: {value: -0.2}");
    let stiff = |edits: &[(&str, &str)]| conceded("stiff", "{panel: p}", "failed", edits);
    assert_eq!(stiff(&[failed]).0, Verdict::Conceded);
    // The hot strength that the stiffness rests on fails too.
    let (verdict, words) = stiff(&[failed, ("result: {value: 600 MPa}", "result: {value: 400 MPa}")]);
    assert_eq!(verdict, Verdict::Failed);
    assert_eq!(words, "concession/c does not cover showing/hot lamina/cw@oven");
}

/// What a concession of the joints' bond comes to where their glue lines are 12 mm wide instead of 18 mm, with further
/// tests, each of joints as some edits make them; `asked` is what stands of the showing, `first` the result of the first.
fn narrow_joints(
    asked: &str,
    first: &str,
    more: &[(&str, &[(&str, &str)])],
) -> (Verdict, String, Vec<String>) {
    let now = narrow(asked, first, more, "geometry.width: {at_least: 10 mm}");
    let all = evaluate(&now, today()).unwrap();
    told(&all)
}

fn told(all: &crate::qualify::verdict::Evaluation) -> (Verdict, String, Vec<String>) {
    let duty = all.duties.values().find(|duty| duty.showing == "bond").unwrap();
    let judged = duty.panels.get("p").unwrap();
    let words = judged.because.iter().map(|reason| format!("{} {}", reason.was, reason.is));
    let words = words.collect::<Vec<_>>().join("; ");
    (judged.verdict, words, judged.evidence.iter().map(ToString::to_string).collect())
}

fn narrow(asked: &str, first: &str, more: &[(&str, &[(&str, &str)])], covers: &str) -> Ledger {
    let bond = "{bond: [paste, glue, laminate.solid, laminate.solid]}";
    let mut text = JOINTS.replace("kind: bond-shear, accept: {all_at_least: 1 MPa}", asked);
    text = text.replace("width: 19 mm", "width: 18 mm").replace("result: {value: 2 MPa}", first);
    for (at, (result, _)) in more.iter().enumerate() {
        text += &format!(
            "  m-{at}: {{showing: bond, subject: {bond}, kind: test, state: done, result: {result}}}\n"
        );
    }
    let edited = |edits: &[(&str, &str)]| {
        edits.iter().fold(text.clone(), |text, (from, to)| {
            assert!(text.contains(from), "{from}");
            text.replace(from, to)
        })
    };
    let conformed = |id: &str, edits: &[(&str, &str)]| {
        let mut made = read(&edited(edits));
        conform_all(&mut made);
        made.evidence[id].value.conformed.clone()
    };
    let concession = format!(
        "concessions:\n  c: {{showing: bond, subject: {bond}, reason: r, covers: {{{covers}}}, limit: 9, until: 2027-01-01}}\n"
    );
    let mut now = read(&(edited(&[NARROW]) + &concession));
    for (id, entry) in &mut now.evidence {
        let at = id.strip_prefix("m-").and_then(|at| more.get(at.parse::<usize>().unwrap()));
        Arc::make_mut(&mut entry.value).conformed = conformed(id, at.map_or(&[], |(_, edits)| edits));
    }
    now
}

const NARROW: (&str, &str) = ("width: 18 mm", "width: 12 mm");
const WIDE: (&str, &str) = ("width: 18 mm", "width: 40 mm");
const THICK: (&str, &str) = ("thickness: 0.5 mm", "thickness: 3 mm");
const ONE: &str = "kind: bond-shear, accept: {all_at_least: 1 MPa}";
const TWO: &str = "kind: bond-shear, accept: {all_at_least: 1 MPa}, plan: {specimens: 2}";
const GOOD: &str = "result: {value: 2 MPa}";

type Further<'a> = &'a [(&'a str, &'a [(&'a str, &'a str)])];

#[test]
fn a_test_that_is_added_takes_nothing_from_what_was_accepted_of_another() {
    let alone = narrow_joints(ONE, GOOD, &[]);
    assert_eq!((alone.0, alone.2), (Verdict::Conceded, vec!["e-1".to_string()]));
    // Joints that are as narrow, of another thickness, which nobody accepted.
    let beside = narrow_joints(ONE, GOOD, &[("{value: 2 MPa}", &[NARROW, THICK])]);
    assert_eq!((beside.0, beside.2), (Verdict::Conceded, vec!["e-1".to_string()]), "{}", beside.1);
    assert!(beside.1.contains("18 mm 12 mm") && !beside.1.contains("3 mm"), "{}", beside.1);
    // Two of the same article, and then one that conforms and is not enough by itself.
    let both: Further<'_> = &[("{value: 2 MPa}", &[])];
    let (verdict, words, evidence) = narrow_joints(TWO, GOOD, both);
    assert_eq!((verdict, evidence.len()), (Verdict::Conceded, 2), "{words}");
    let and_part: Further<'_> = &[("{value: 2 MPa}", &[]), ("{value: 2 MPa}", &[NARROW])];
    let (verdict, words, evidence) = narrow_joints(TWO, GOOD, and_part);
    assert_eq!((verdict, evidence.len()), (Verdict::Conceded, 3), "{words}");
    // Of all that it leans on is told what was accepted.
    let wide: Further<'_> = &[("{value: 2 MPa}", &[WIDE])];
    let (verdict, words, evidence) = narrow_joints(TWO, GOOD, wide);
    assert_eq!((verdict, evidence.len()), (Verdict::Conceded, 2), "{words}");
    assert!(words.contains("18 mm 12 mm") && words.contains("40 mm 12 mm"), "{words}");
}

/// What was accepted is a difference, and not that anything else is missing.
#[test]
fn what_would_not_prove_the_duty_itself_is_not_conceded() {
    let (verdict, words, _) = narrow_joints(TWO, GOOD, &[]);
    assert_eq!(verdict, Verdict::Lapsed);
    assert!(words.contains("concession/c does not cover sample: 1 of 2 specimens (e-1)"), "{words}");
    let (verdict, words, _) = narrow_joints(ONE, "result: {value: 0.5 MPa}", &[]);
    assert_eq!(verdict, Verdict::Lapsed);
    assert!(
        words.contains("concession/c does not cover criterion: least 0.5 MPa against 1 MPa (e-1)"),
        "{words}"
    );
    // Nor does one that passes hide one that fails on an article that differs in nothing more.
    let failing: [(&[(&str, &str)], Verdict); 4] = [
        (&[NARROW], Verdict::Failed),
        (&[], Verdict::Lapsed),
        (&[WIDE], Verdict::Lapsed),
        (&[THICK], Verdict::Conceded),
    ];
    for (made, verdict) in failing {
        assert_eq!(narrow_joints(ONE, GOOD, &[("{value: 0.5 MPa}", made)]).0, verdict, "{made:?}");
    }
}

/// The same design and evidence, and another concession: nothing that was judged under the first is taken over.
#[test]
fn a_verdict_beside_another_follows_what_is_covered() {
    let [now, less] = ["10 mm", "13 mm"]
        .map(|bound| narrow(ONE, GOOD, &[], &format!("geometry.width: {{at_least: {bound}}}")));
    let mut other = now.clone();
    other.concessions = less.concessions;
    let first = evaluate(&now, today()).unwrap();
    let beside = crate::qualify::verdict::evaluate_beside(&other, today(), &first).unwrap();
    assert_eq!((told(&first).0, told(&beside).0), (Verdict::Conceded, Verdict::Lapsed));
    let back = crate::qualify::verdict::evaluate_beside(&now, today(), &beside).unwrap();
    assert_eq!(told(&back), told(&first));
}

/// A test that conforms and lacks specimens leaves its duty short; with what is accepted of another it would be enough. The
/// stiffness of the panel lapses with the width of its joints.
#[test]
fn what_a_short_duty_rests_on_is_not_conceded_with_it() {
    let part: Further<'_> = &[("{value: 2 MPa}", &[NARROW])];
    let (verdict, words, _) = narrow_joints(TWO, GOOD, part);
    assert_eq!(verdict, Verdict::Conceded, "{words}");
    let rests = &format!("{TWO}, rests_on: [stiff]");
    let (verdict, words, _) = narrow_joints(rests, GOOD, part);
    assert_eq!(verdict, Verdict::Short);
    assert!(words.contains("concession/c does not cover showing/stiff panel/p"), "{words}");
    // A concession that reaches nothing alters nothing else that is said.
    let less = narrow(rests, GOOD, part, "geometry.width: {at_least: 13 mm}");
    let mut without = less.clone();
    without.concessions.clear();
    let [(_, with, _), (_, plain, _)] = [&less, &without].map(|own| told(&evaluate(own, today()).unwrap()));
    assert_eq!(with, format!("{plain}; none concession/c does not cover short"));
}
