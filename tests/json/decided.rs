//! What the commands of decisions and of the history answer, from draft to close, held against each other and
//! against `impact` and `mass`.

use super::*;

documents! {
    DecidedChange { set: Option<String>, remove: Option<String>, insert: Option<String>, add: Option<String>, drop: Option<String>, was: Option<Value>, to: Option<Value>, after: Option<Value>, entry: Option<Value>, record: Option<Value>, between: Option<Value> }
    Foretold { showing: String, subject: String, asks: String }
    PredictedRecord { commit: Option<String>, on: Option<String>, changes: Option<String>, mass: String, panels: Option<BTreeMap<String, String>>, lapsed: Option<Vec<Foretold>>, specimens: u32, weeks: f64, cost: Option<String>, missing: Option<Vec<String>> }
    PanelPredicted { panel: String, delta_kg: f64 }
    Predicted { commit: Option<String>, on: Option<String>, mass_delta_kg: f64, panels: Vec<PanelPredicted>, lapsed: Vec<Foretold>, specimens: u32, weeks: f64, cost: Option<f64>, missing: Vec<String> }
    FoundDuty { showing: String, subject: String, now: Option<String>, verdict: String, earned: Option<String> }
    FoundRecord { on: Option<String>, applied: Option<String>, commit: Option<String>, calculated: Option<String>, weighed: Option<String>, pieces: Option<u32>, weighed_panels: Option<u32>, duties: Option<Vec<FoundDuty>>, specimens: Option<u32>, weeks: Option<f64>, finished: Option<bool>, note: Option<String> }
    Approved { role: String, on: String, by: Option<String> }
    Draft { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, changes: Vec<DecidedChange> }
    Rebase { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, changes: Vec<DecidedChange>, supersedes: Option<String> }
    Propose { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, predicted: PredictedRecord, verdict: String, caution: String }
    Approve { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, approved: bool, open: Vec<String>, superseded: Option<String> }
    Apply { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, status: String }
    Close { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, found: FoundRecord }
    Renumber { schema: String, did: String, decision: String, file: String, dry_run: bool, written: Vec<String>, was: String }
    Held { decision: String, predicted_mass_kg: f64, found_mass_kg: Option<f64>, weighed: bool, calculated_mass_kg: Option<f64>, predicted_weeks: f64, found_weeks: Option<f64>, weeks_so_far: Option<f64>, predicted_specimens: u32, found_specimens: Option<u32> }
    Applied { commit: String, on: String }
    Decision { schema: String, decision: String, file: String, title: Option<String>, status: String, raised: Option<String>, why: Option<String>, changes: Vec<DecidedChange>, predicted: Option<Predicted>, approvals: Vec<Approved>, needs: Vec<String>, people_needed: usize, supersedes: Option<String>, applied: Option<Applied>, taken_back: Option<Applied>, cannot_be_carried_out: Option<String>, found: Option<FoundRecord> }
    Listed { decision: String, title: Option<String>, status: String, raised: Option<String>, needs: Option<Vec<String>>, state: String, applied: Option<Applied>, taken_back: Option<Applied>, predicted: Option<Predicted>, held: Option<Held> }
    Decisions { schema: String, decisions: Vec<Listed> }
    Staged { schema: String, decisions: Vec<String> }
    ReadyFor { milestone: String, closed: usize, duties: usize }
    Commit { commit: String, on: String, summary: String, kg: Option<f64>, delta_kg: Option<f64>, counts: Option<BTreeMap<String, usize>>, ready: Option<Vec<ReadyFor>>, decisions: Vec<String>, others: bool, broken: usize }
    Calibration { decisions: Vec<Held>, masses: usize, mass_bias_kg: Option<f64>, mass_error_kg: Option<f64>, finished: usize, weeks_bias: Option<f64>, weeks_ratio: Option<f64> }
    History { schema: String, of: Option<String>, commits: Vec<Commit>, left_out: usize, predictions: Calibration }
    EditedPlace { address: String, attribute: String, was: Option<String>, is: Option<String> }
    EditedIn { commit: String, on: String, summary: String, decisions: Vec<String>, others: bool, edited: bool, did: Option<String>, was_called: Option<String>, called_since: Option<String>, unread: Vec<String>, kg: Option<f64>, delta_kg: Option<f64>, counts: Option<BTreeMap<String, usize>>, was_counts: Option<BTreeMap<String, usize>>, ready: Option<Vec<ReadyFor>>, changes: Vec<EditedPlace> }
    HistoryOf { schema: String, address: String, commits: Vec<EditedIn>, left_out: usize, outcome: Option<Held> }
    LostDuty { showing: String, subject: String, panel: String, verdict: Option<String>, asks: Option<String>, because: Option<String> }
    LapsedIn { commit: String, on: String, summary: String, decisions: Vec<String>, others: bool, lost: Vec<LostDuty> }
    HistoryLapsed { schema: String, evidence: String, proves: usize, conceded: usize, commits: Vec<LapsedIn> }
    GrewIn { commit: String, on: String, summary: String, decisions: Vec<String>, others: bool, was_kg: f64, kg: f64, delta_kg: f64, changes: Vec<EditedPlace> }
    HistoryGrew { schema: String, panel: String, kg: Option<f64>, commits: Vec<GrewIn> }
}

const FILE: &str = "decisions/dd-002-thinner-core.yaml";
const ID: &str = "dd-002-thinner-core";

/// Kilograms as a record writes them.
fn kg(text: &str) -> f64 {
    text.strip_suffix(" kg").unwrap().parse().unwrap()
}

/// The small ledger with two roles that approve, in a repository.
fn small() -> Bench {
    let bench = Bench::small();
    let ledger = bench.read("ledger.yaml");
    bench.write(
        "ledger.yaml",
        &format!("{ledger}approvals: {{decision: [chief-engineer, certification-lead]}}\n"),
    );
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "base");
    bench
}

/// One decision from draft to close; each document says what the next one, `impact`, `mass` and the record do.
#[test]
fn a_decision_says_the_same_of_itself_from_draft_to_history() {
    let bench = small();
    let set = "recipe/hatch-outer#layers.4.thickness=5 mm";
    let draft: Draft = read_of(&bench, &["decide", "draft", "Thinner core", "--set", set], 0);
    assert_eq!((draft.schema.as_str(), draft.did.as_str(), draft.dry_run), ("decide/1", "draft", false));
    assert_eq!((draft.decision.as_str(), draft.written), (ID, vec![FILE.to_string()]));
    assert_eq!(draft.changes[0].set.as_deref(), Some("recipe/hatch-outer#layers.4.thickness"));
    let impact: Impact = read(&bench, "impact dd-002", 0);

    let propose: Propose = read(&bench, "decide propose dd-002", 0);
    let own = &propose.predicted;
    assert!((kg(&own.mass) - impact.mass.delta_kg).abs() < 1e-6);
    let panels: f64 = own.panels.iter().flatten().map(|(_, text)| kg(text)).sum();
    assert!((panels - impact.mass.delta_kg).abs() < 1e-6);
    assert_eq!((own.specimens, own.lapsed.as_ref().map_or(0, Vec::len)), (impact.retest.specimens, 0));
    assert!((own.weeks - impact.retest.weeks).abs() <= 0.05);

    let one: Approve = read(&bench, "decide approve dd-002 --role chief-engineer", 0);
    assert_eq!((one.approved, one.open.as_slice()), (false, &["certification-lead".to_string()][..]));
    let list: Decisions = read(&bench, "decide list", 0);
    let row = list.decisions.iter().find(|row| row.decision == ID).unwrap();
    assert_eq!((row.status.as_str(), row.needs.as_ref()), ("proposed", Some(&one.open)));
    let two: Approve = read(&bench, "decide approve dd-002 --role certification-lead --by Nyberg", 0);
    assert!(two.approved && two.open.is_empty());
    layout::commit(&bench.ledger(), "Approve");

    let dry: Apply = read(&bench, "decide apply dd-002 --dry-run", 0);
    let text = bench.read("recipes/hatch-outer.yaml");
    assert!(dry.dry_run && dry.written == ["recipes/hatch-outer.yaml"]);
    let before: Mass = read(&bench, "mass", 0);
    let apply: Apply = read(&bench, "decide apply dd-002", 0);
    assert_eq!(
        (apply.did.as_str(), apply.status.as_str(), &apply.written),
        ("apply", "approved", &dry.written)
    );
    let mass: Mass = read(&bench, "mass", 0);
    assert!((mass.total.kg - before.total.kg - impact.mass.delta_kg).abs() < 1e-9);
    let undo: Apply = read(&bench, "decide apply dd-002 --undo", 0);
    assert_eq!((undo.did.as_str(), &undo.written), ("undo", &dry.written));
    assert_eq!(bench.read("recipes/hatch-outer.yaml"), text);
    let _: Apply = read(&bench, "decide apply dd-002", 0);
    layout::stage(&bench.ledger());
    let staged: Staged = read(&bench, "hook decisions", 0);
    assert_eq!(
        (staged.schema.as_str(), staged.decisions.as_slice()),
        ("decisions-staged/1", &[ID.to_string()][..])
    );
    layout::commit(&bench.ledger(), "Thinner core");
    let staged: Staged = read(&bench, "hook decisions", 0);
    assert!(staged.decisions.is_empty());

    let close: Close = read_of(&bench, &["decide", "close", "dd-002", "--note", "The new bag holds."], 0);
    let found = &close.found;
    assert!((kg(found.calculated.as_ref().unwrap()) - impact.mass.delta_kg).abs() < 1e-6);
    assert!(found.weighed.is_none() && found.pieces.is_none() && found.finished == Some(true));
    layout::commit(&bench.ledger(), "Close");

    let shown: Decision = read(&bench, "decide show dd-002", 0);
    assert_eq!(
        (shown.schema.as_str(), shown.status.as_str(), shown.file.as_str()),
        ("decision/1", "approved", FILE)
    );
    assert_eq!((shown.approvals.len(), shown.needs.len(), shown.people_needed), (2, 0, 0));
    let foretold = shown.predicted.as_ref().unwrap();
    near(foretold.mass_delta_kg, kg(&propose.predicted.mass));
    near(foretold.panels.iter().map(|one| one.delta_kg).sum(), foretold.mass_delta_kg);
    let applied = shown.applied.as_ref().unwrap();
    let written = shown.found.as_ref().unwrap();
    assert_eq!(
        (Some(&applied.commit), Some(&applied.on)),
        (written.commit.as_ref(), written.applied.as_ref())
    );
    assert_eq!(
        (&written.calculated, &written.note),
        (&found.calculated, &Some("The new bag holds.".to_string()))
    );

    // The list, the history of the record and the calibration hold it to the same figures.
    let list: Decisions = read(&bench, "decide list", 0);
    sorted(list.decisions.iter().map(|row| row.decision.clone()));
    let row = list.decisions.iter().find(|row| row.decision == ID).unwrap();
    let held = row.held.as_ref().unwrap();
    near(held.predicted_mass_kg, foretold.mass_delta_kg);
    near(held.calculated_mass_kg.unwrap(), kg(found.calculated.as_ref().unwrap()));
    assert!(!held.weighed && held.found_mass_kg.is_none(), "nothing was weighed");
    assert!(
        found.weeks.is_none() && held.found_weeks.is_none() && held.weeks_so_far.is_none(),
        "nothing was asked"
    );
    let carried_out = (row.state.as_str(), row.applied.as_ref().map(|own| own.commit.as_str()));
    assert_eq!(carried_out, ("closed", found.commit.as_deref()));
    assert!(row.taken_back.is_none());
    let of: HistoryOf = read(&bench, "history dd-002", 0);
    let outcome = of.outcome.as_ref().unwrap();
    assert_eq!((of.schema.as_str(), of.address.as_str()), ("history-of/1", "decision/dd-002-thinner-core"));
    assert_eq!((outcome.found_mass_kg, outcome.found_weeks), (held.found_mass_kg, held.found_weeks));
    let named: Vec<&str> = of.commits.iter().map(|one| one.summary.as_str()).collect();
    assert_eq!(named, ["Close", "Thinner core", "Approve"]);

    let history: History = read(&bench, "history", 0);
    assert_eq!((history.schema.as_str(), history.left_out, history.commits.len()), ("history/1", 0, 4));
    // The newest is what the programme weighs now; the steps add up to what it has moved by.
    near(history.commits[0].kg.unwrap(), mass.total.kg);
    near(history.commits[3].kg.unwrap(), before.total.kg);
    near(history.commits.iter().filter_map(|one| one.delta_kg).sum(), mass.total.kg - before.total.kg);
    let carried = &history.commits[1];
    assert_eq!(
        (carried.decisions.as_slice(), &carried.commit),
        (&["dd-002".to_string()][..], &applied.commit)
    );
    near(carried.delta_kg.unwrap(), impact.mass.delta_kg);
    let gaps: Gaps = read(&bench, "gaps --all", 0);
    assert_eq!(history.commits[0].counts.as_ref(), Some(&gaps.counts));
    assert!(history.commits.iter().all(|one| one.broken == 0));
    let own = &history.predictions;
    assert_eq!((own.decisions.len(), own.masses, own.finished), (1, 0, 0));
    assert_eq!((own.mass_bias_kg, own.mass_error_kg), (None, None), "a calculation is no measure of itself");
    assert_eq!((own.weeks_bias, own.weeks_ratio), (None, None), "no week was predicted, and none was taken");
    // One that is left out is the oldest.
    let few: History = read(&bench, "history --commits 3", 0);
    assert_eq!((few.commits.len(), few.left_out), (3, 1));
    assert_eq!(few.commits[2].delta_kg, history.commits[2].delta_kg);

    // Where the record has moved on another is drafted in its place, which is renumbered.
    let recipe = bench.read("recipes/hatch-outer.yaml");
    bench.write("recipes/hatch-outer.yaml", &recipe.replace("thickness: 5 mm", "thickness: 7 mm"));
    let rebase: Rebase = read(&bench, "decide rebase dd-002", 0);
    assert_eq!((rebase.did.as_str(), rebase.supersedes.as_deref()), ("rebase", Some(ID)));
    let renumber: Renumber = read(&bench, "decide renumber dd-003", 0);
    assert_eq!(
        (renumber.was.as_str(), renumber.decision.as_str()),
        ("dd-003-thinner-core", "dd-004-thinner-core")
    );
    assert_eq!(
        renumber.written,
        ["decisions/dd-003-thinner-core.yaml", "decisions/dd-004-thinner-core.yaml"]
    );
}

/// The example's decisions, and one with duties: what is predicted is what `impact` and its plan say.
#[test]
fn a_prediction_with_duties_is_what_impact_says() {
    let bench = Bench::example();
    layout::init(&bench.ledger());
    layout::commit(&bench.ledger(), "all");
    let list: Decisions = read(&bench, "decide list", 0);
    assert_eq!(list.schema, "decisions/1");
    for row in &list.decisions {
        let shown: Decision = read(&bench, &format!("decide show {}", row.decision), 0);
        assert_eq!((&shown.decision, &shown.status, &shown.title), (&row.decision, &row.status, &row.title));
        assert_eq!(row.needs.is_some(), row.status == "proposed");
        assert_eq!(
            row.needs.clone().unwrap_or_default(),
            if row.status == "proposed" { shown.needs.clone() } else { Vec::new() }
        );
    }
    let impact: Impact = read(&bench, "impact dd-004", 0);
    let propose: Propose = read(&bench, "decide propose dd-004", 0);
    let own = &propose.predicted;
    let worse: Vec<(String, String, String)> = impact
        .duties
        .iter()
        .filter(|row| {
            let closed = |word: &Option<String>| {
                word.as_deref().is_none_or(|word| ["met", "conceded"].contains(&word))
            };
            closed(&row.was) && !row.now.as_deref().is_none_or(|word| ["met", "conceded"].contains(&word))
        })
        .map(|row| (row.showing.clone(), row.subject.clone(), row.asks.clone()))
        .collect();
    let said: Vec<(String, String, String)> = own
        .lapsed
        .iter()
        .flatten()
        .map(|duty| (duty.showing.clone(), duty.subject.clone(), duty.asks.clone()))
        .collect();
    assert!(worse.iter().all(|row| said.contains(row)) && !said.is_empty(), "{worse:?}\n{said:?}");
    assert_eq!(
        (own.specimens, own.cost.clone()),
        (impact.retest.specimens, impact.retest.cost.map(|cost| format!("{cost} EUR")))
    );
    assert!((own.weeks - impact.retest.weeks).abs() <= 0.05);
    assert_eq!(own.panels.as_ref().unwrap().len(), impact.panels.len());
}
