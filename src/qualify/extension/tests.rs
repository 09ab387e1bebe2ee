//! What is said to close a duty closes it.

use super::super::duty::{Judged, Verdict};
use super::super::fixture::{example, today};
use super::super::rests::RESTS_ON;
use super::super::verdict::{DutyKey, evaluate};
use crate::article::Subject;
use crate::ledger::{Entry, Ledger, NoRecall};
use crate::qualify::conform::conformity;
use crate::qualify::gaps::{GapsOptions, gaps};
use crate::record::sensitivity::Asks;
use crate::record::{Conformed, Evidence, EvidenceKind};
use crate::source::Snapshot;
use std::collections::BTreeMap;
use std::sync::Arc;

const DATA: &str = "evidence/data/tr-004.csv";

/// Takes the values of a baseline down, so that its criterion does not hold.
const LOW: [(&str, &str, &str); 2] =
    [(DATA, "L101-1-1,433", "L101-1-1,233"), (DATA, "L102-2-1,401", "L102-2-1,281")];

/// The example after some edits of its files: a path, what is written there and what instead.
fn edited(edits: &[(&str, &str, &str)], gone: &[&str]) -> Ledger {
    let mut files = example();
    for (path, from, to) in edits {
        let text = String::from_utf8(files[*path].clone()).unwrap();
        assert!(text.contains(from), "{path}: {from}");
        files.insert((*path).to_string(), text.replace(from, to).into_bytes());
    }
    for path in gone {
        assert!(files.remove(*path).is_some(), "{path}");
    }
    let ledger = Ledger::load(&Snapshot::in_memory(files), &NoRecall);
    assert!(!ledger.has_errors(), "{:?}", ledger.faults);
    ledger
}

/// A subject as evidence names it; bonds and sheets are left out.
fn label(subject: &Subject) -> Option<String> {
    Some(match subject {
        Subject::Lamina { material, resin, process } => {
            let resin = resin.as_ref().map_or_else(String::new, |resin| format!("{resin}, "));
            format!("lamina: [{material}, {resin}{process}]")
        }
        Subject::Laminate(recipe) => format!("laminate: {recipe}"),
        Subject::Painted(recipe, finish) => {
            format!("painted: [{recipe}, {}]", finish.as_deref().unwrap_or("bare"))
        }
        Subject::Panel(panel) => format!("panel: {panel}"),
        Subject::Bond { .. } | Subject::Sheet(..) | Subject::Programme => return None,
    })
}

/// What asks for an extension on any panel, with the level that it asks and the baseline that came nearest.
fn asked(ledger: &Ledger) -> BTreeMap<DutyKey, (Asks, String)> {
    let evaluation = evaluate(ledger, today()).unwrap();
    let of = |judged: &Judged| {
        let may = matches!(judged.verdict, Verdict::Lapsed | Verdict::Short)
            && matches!(judged.asks, Asks::Analysis | Asks::Equivalence)
            && !judged.because.iter().all(|reason| reason.rule == RESTS_ON);
        let nearest = judged.because.iter().filter_map(|reason| reason.evidence.as_ref()).next_back();
        let entry = ledger.evidence.get(nearest.filter(|_| may)?.as_str())?;
        let baseline = entry.value.baseline.as_ref().map_or(entry.id.as_str(), |own| own.id());
        Some((judged.asks, baseline.to_string()))
    };
    let worst = evaluation.duties.iter().filter(|(key, _)| label(&key.1).is_some());
    worst.filter_map(|(key, duty)| Some((key.clone(), of(duty.worst()?.1)?))).collect()
}

/// Lays the extension beside what is there that the plan asks for: of the level that is asked, made of the subject as it
/// is now, with the baseline's own values.
fn extended(ledger: &Ledger, wanted: &BTreeMap<DutyKey, (Asks, String)>) -> Ledger {
    let mut after = ledger.clone();
    for (at, ((_, subject), (asks, baseline))) in wanted.iter().enumerate() {
        let base = &ledger.evidence[baseline];
        let id = format!("x-{at}");
        let mut own: Evidence = (*base.value).clone();
        own.kind =
            if *asks == Asks::Equivalence { EvidenceKind::Equivalence } else { EvidenceKind::Analysis };
        own.baseline = Some(serde_yaml::from_str(baseline).unwrap());
        (own.conformed, own.digest, own.tested, own.supersedes) = (None, None, None, None);
        own.measured.clear();
        own.subject = serde_yaml::from_str(&label(subject).unwrap()).unwrap();
        if own.kind == EvidenceKind::Analysis {
            own.result = serde_yaml::from_str("statement: true").unwrap();
        }
        let mut entry = Entry { id: id.clone(), file: format!("evidence/{id}.yaml"), value: Arc::new(own) };
        let block = conformity(ledger, &entry, None).unwrap().block();
        let read: BTreeMap<String, Conformed> = serde_yaml::from_str(&block).unwrap();
        Arc::make_mut(&mut entry.value).conformed = read.into_values().next();
        let is_tested = entry.value.kind == EvidenceKind::Equivalence;
        if let Some(data) = ledger.data.get(baseline).filter(|_| is_tested) {
            after.data.insert(id.clone(), data.clone());
        }
        after.evidence.insert(id, entry);
    }
    after
}

/// The example where a baseline fails that an equivalence leans on, with a good test of a prepreg with less resin beside
/// it, nearer than which nothing else is.
fn with_a_good_test_near() -> Ledger {
    let whole = edited(&[], &[]);
    let mut ledger = edited(&LOW, &[]);
    let base = &whole.evidence["e-004"];
    let mut own: Evidence = (*base.value).clone();
    let attributes = &mut own.conformed.as_mut().unwrap().attributes;
    assert!(attributes.get("resin-content.a").is_some());
    attributes.insert("resin-content.a".into(), serde_yaml::from_str("36 %").unwrap());
    let id = "e-near".to_string();
    let entry = Entry { id: id.clone(), file: "evidence/e-near.yaml".to_string(), value: Arc::new(own) };
    ledger.data.insert(id.clone(), whole.data["e-004"].clone());
    ledger.evidence.insert(id, entry);
    ledger
}

#[test]
fn a_failed_baseline_asks_no_more_than_leads_back_from_another() {
    let worst = |ledger: &Ledger| {
        let evaluation = evaluate(ledger, today()).unwrap();
        let duty = evaluation.duties.values().find(|duty| {
            duty.showing == "lamina-compression-etw"
                && duty.subject.to_string() == "lamina/cw-200-e1@oven-120"
        });
        let judged = duty.unwrap().worst().unwrap().1;
        let named: Vec<Option<String>> =
            judged.because.iter().map(|one| one.evidence.as_ref().map(ToString::to_string)).collect();
        (judged.verdict, judged.asks, named)
    };
    let some =
        |ids: &[&str]| -> Vec<Option<String>> { ids.iter().map(|id| Some((*id).to_string())).collect() };
    assert_eq!(worst(&edited(&LOW, &[])), (Verdict::Short, Asks::Retest, some(&["e-029"])));
    let near = worst(&with_a_good_test_near());
    assert_eq!(near, (Verdict::Short, Asks::Equivalence, some(&["e-029", "e-near"])));
}

/// A correction does not take a failed equivalence away; its one repeat, with a reason, may stand beside it.
#[test]
fn a_failed_equivalence_is_not_superseded_but_repeated_once_with_a_reason() {
    let whole = edited(&[], &[]);
    let failed = edited(&[("evidence/data/tr-029.csv", ",404,", ",280,")], &[]);
    let with = |reason: Option<&str>, values: &Ledger| {
        let mut ledger = failed.clone();
        let mut own: Evidence = (*whole.evidence["e-029"].value).clone();
        own.supersedes = Some(serde_yaml::from_str("e-029").unwrap());
        own.reason = reason.map(str::to_string);
        own.made = crate::record::Day::parse("2026-08-01").ok();
        let mut data = values.data["e-029"].clone();
        let rows = data.rows.iter().cloned().map(|mut row| {
            row.panel = format!("R{}", row.panel).into();
            row
        });
        data.rows = rows.collect();
        let (id, file) = ("e-099".to_string(), "evidence/e-099.yaml".to_string());
        ledger.evidence.insert(id.clone(), Entry { id: id.clone(), file, value: Arc::new(own) });
        ledger.data.insert(id, data);
        ledger
    };
    // The verdict, and whether a repeat is offered.
    let judged = |ledger: &Ledger| {
        let evaluation = evaluate(ledger, today()).unwrap();
        let options = GapsOptions { all: true, ..GapsOptions::default() };
        let all = gaps(ledger, &evaluation, &options).duties;
        let own = all.into_iter().find(|gap| {
            gap.showing == "lamina-compression-etw" && gap.subject.to_string() == "lamina/cw-200-e1@oven-120"
        });
        let own = own.unwrap();
        let repeat = "repeat evidence/e-029 once, on a new set of panels and with a `reason`";
        (own.verdict, own.closes_with.ways.iter().any(|way| way == repeat))
    };
    assert_eq!(judged(&failed), (Verdict::Failed, true));
    assert_eq!(judged(&with(None, &whole)), (Verdict::Failed, true));
    assert_eq!(judged(&with(Some("another cutter"), &whole)), (Verdict::Met, false));
    assert_eq!(judged(&with(Some("another cutter"), &failed)), (Verdict::Failed, false));
}

/// What was set aside gives no design value, though what extends it conforms.
#[test]
fn a_baseline_that_was_set_aside_gives_no_value() {
    let open = |ledger: &Ledger| {
        let evaluation = evaluate(ledger, today()).unwrap();
        let duty = evaluation.duties.values().find(|duty| {
            duty.showing == "structural-margins" && duty.subject.to_string() == "panel/float-shell"
        });
        let judged = Arc::clone(duty.unwrap().worst().unwrap().1);
        (judged.verdict, judged.because[0].is.clone())
    };
    let aside = "disposition: {cause: the grips slipped, by: certification-lead, on: 2026-03-01}\n";
    let with = format!("{aside}owner: test lab");
    let ledger = edited(&[("evidence/e-004.yaml", "owner: test lab", &with)], &[]);
    let (verdict, why) = open(&ledger);
    assert!(verdict == Verdict::Open && why.contains("no evidence gives a value"), "{verdict} {why}");
}

/// Every extension that is asked for is made just as it is asked, and closes what asked for it; whether what it rests on
/// is met is another matter. Beside the example as it stands: with the values of a baseline cut down, so that nothing
/// can lean on it, with and without the equivalence that leant on it; with a richer resin; and where an equivalence lies
/// near, but the baseline that it leans on is too far.
#[test]
fn what_is_said_to_close_a_duty_closes_it() {
    const PREPREG: &str = "materials/cw-200-e1.yaml";
    let states = [
        ("as it stands", edited(&[], &[])),
        ("baseline cut down", edited(&LOW, &[])),
        ("baseline cut down, alone", edited(&LOW, &["evidence/e-029.yaml"])),
        ("baseline cut down, a good test near", with_a_good_test_near()),
        ("richer resin", edited(&[(PREPREG, "39.5 %", "40.5 %")], &[])),
        ("much richer resin", edited(&[(PREPREG, "39.5 %", "42.5 %")], &[])),
    ];
    let mut all = 0;
    for (name, ledger) in states {
        let wanted = asked(&ledger);
        all += wanted.len();
        let after = evaluate(&extended(&ledger, &wanted), today()).unwrap();
        for (key, how) in &wanted {
            let (panel, judged) = after.duties[key].worst().unwrap();
            let rests = judged.because.iter().all(|reason| reason.rule == RESTS_ON);
            assert!(
                judged.verdict == Verdict::Met || rests,
                "{name}: {} {} for {panel}, {how:?}: {} {:?}",
                key.0,
                key.1,
                judged.verdict,
                judged.because
            );
        }
    }
    assert!(all > 60, "{all}");
}
