use super::*;
use crate::article::fixture::ledger as read;
use crate::qualify::fixture::{edited, judged, today};

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
    let judged = &duty.panels["bow-hatch"];
    let words = judged.because.iter().find(|reason| reason.attribute == "concession").unwrap();
    (judged.verdict, words.is.clone())
}

const ALL: &str = "covers: {fibre-areal.a: {at_most: 240 g/m2}}, until: 2027-01-01";

#[test]
fn what_a_concession_lacks_is_told_apart() {
    assert_eq!(said(ALL, ""), (Verdict::Conceded, "concession/c-1 until 2027-01-01".to_string()));
    let less = ALL.replace("240 g/m2", "230 g/m2");
    assert_eq!(said(&less, ""), (Verdict::Lapsed, "concession/c-1 does not cover fibre-areal.a".to_string()));
    // On its last day it holds, and not on the day after.
    let day = today().to_string();
    let last = ALL.replace("2027-01-01", &day);
    assert_eq!(said(&last, "").0, Verdict::Conceded);
    let ended = ALL.replace("2027-01-01", "2026-03-01");
    assert!(
        ended.as_str() < ALL
            && said(&ended, "") == (Verdict::Lapsed, "concession/c-1 ended on 2026-03-01".to_string())
    );
    // What it never reached it did not lose by ending.
    assert_eq!(
        said(&ended.replace("240 g/m2", "230 g/m2"), "").1,
        "concession/c-1 does not cover fibre-areal.a"
    );
}

/// By hand: an aircraft of the fixture has two hatches.
#[test]
fn a_concession_is_for_all_pieces_of_one_aircraft() {
    let with = |units: &str| said(&format!("{ALL}, {units}"), "");
    assert_eq!(
        with("limit: 2"),
        (Verdict::Conceded, "concession/c-1 until 2027-01-01, 0 of 2 on record".to_string())
    );
    assert_eq!(with("serials: [H-1, H-2]").0, Verdict::Conceded);
    let few = "concession/c-1 is used up: it is for 1 unit, one aircraft has 2 of bow-hatch";
    assert_eq!(with("limit: 1"), (Verdict::Lapsed, few.to_string()));
    assert_eq!(with("serials: [H-1]"), (Verdict::Lapsed, few.to_string()));
    // One serial written twice is one piece.
    assert_eq!(with("serials: [H-1, H-1]").0, Verdict::Lapsed);
    // Of a limit and serials the smaller counts.
    assert_eq!(with("serials: [H-1, H-2], limit: 1").0, Verdict::Lapsed);
}

#[test]
fn pieces_on_record_use_a_concession_up() {
    let piece = |id: u32, serial: &str, on: &str| {
        format!("w-{id}: {{panel: bow-hatch, {serial} mass: 5 kg, {on}}}, ")
    };
    let since = |id: u32| piece(id, &format!("serial: H-{id},"), "on: 2026-02-10");
    let two = since(1) + &since(2);
    let limit = format!("{ALL}, limit: 2");
    assert_eq!(
        said(&limit, &two),
        (Verdict::Conceded, "concession/c-1 until 2027-01-01, 2 of 2 on record".to_string())
    );
    let used = "concession/c-1 is used up: it is for 2 units, on record are 3: H-1, H-2, H-3";
    assert_eq!(said(&limit, &(two.clone() + &since(3))), (Verdict::Lapsed, used.to_string()));
    // The same piece on the scale again is no further one; one from before was built without the concession.
    assert_eq!(
        said(&limit, &(two.clone() + &piece(3, "serial: H-2,", "on: 2026-02-12"))).0,
        Verdict::Conceded
    );
    assert_eq!(
        said(&limit, &(two.clone() + &piece(3, "serial: H-3,", "on: 2026-01-31"))).0,
        Verdict::Conceded
    );
    // A day or a serial that nobody wrote may be any.
    assert_eq!(
        said(&limit, &(two.clone() + &piece(3, "serial: H-3,", "condition: painted"))).0,
        Verdict::Lapsed
    );
    assert_eq!(said(&limit, &(two.clone() + &piece(3, "", "on: 2026-02-12"))).0, Verdict::Lapsed);
    // By name.
    let serials = format!("{ALL}, serials: [H-1, H-2]");
    assert_eq!(said(&serials, &two).0, Verdict::Conceded);
    let (verdict, words) = said(&serials, &(two + &since(3)));
    assert_eq!(verdict, Verdict::Lapsed);
    assert_eq!(words, "concession/c-1 is used up: H-3 of bow-hatch is on record, which it does not name");
}
