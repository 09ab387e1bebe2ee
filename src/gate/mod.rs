//! The rules of the hook over two evaluations.
//!
//! B is what is committed, S is what is about to be. A rule finds what it objects to in S; a finding
//! that B has already, at the same gravity, is counted and does not block again.

mod altered;
mod budget;
mod decided;
mod due;
mod held;
pub mod parts;
mod weakened;

use crate::article::ArticleError;
use crate::change::diff::{Change, Edits};
use crate::change::explain::{Explained, record_of};
use crate::change::impact::replacements;
use crate::ledger::{Ledger, gate_level};
use crate::qualify::verdict::{DutyKey, Evaluation, Judged, Verdict};
use crate::record::sensitivity::Asks;
use crate::record::{Address, Day, Level, PolicyLevel, RecordKind};
use std::collections::{BTreeMap, BTreeSet};

pub use altered::{Completions, altered_evidence, to_be_completed};

pub use crate::ledger::GATE_RULES as RULES;

/// The way on where an approval comes with what it approves.
const TOGETHER: &str = "commit the approval first, so that it can be seen to come before the change; over a range, the order of its commits shows it";

/// One side: a ledger and its verdicts.
pub struct Side<'a> {
    /// The ledger.
    pub ledger: &'a Ledger,
    /// Its verdicts; an error where a record that they need can't be had.
    pub evaluation: Result<&'a Evaluation, &'a ArticleError>,
    /// What groups weigh beside the ledger, in kg, where it is a part of a larger one.
    pub elsewhere_kg: BTreeMap<String, f64>,
}

impl<'a> Side<'a> {
    /// Returns the side of a whole ledger.
    pub fn of(ledger: &'a Ledger, evaluation: Result<&'a Evaluation, &'a ArticleError>) -> Self {
        Self { ledger, evaluation, elsewhere_kg: BTreeMap::new() }
    }
}

/// One thing that the gate objects to.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The rule.
    pub rule: &'static str,
    /// Whether it stops the commit.
    pub level: PolicyLevel,
    /// The record that it is about.
    pub address: Address,
    /// The place in it.
    pub route: String,
    /// The panel that it is about.
    pub panel: Option<String>,
    /// The fact.
    pub message: String,
    /// The way on.
    pub help: String,
    /// File and line where they are known already.
    pub place: Option<(String, Option<usize>)>,
}

/// What the gate found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GateReport {
    /// New findings, the blocking ones first.
    pub findings: Vec<Finding>,
    /// Findings that the committed state has already, by rule.
    pub known: BTreeMap<&'static str, usize>,
    /// The same one by one, with the record that each is about.
    pub known_at: Vec<(&'static str, Address)>,
}

impl GateReport {
    /// Returns whether the commit is refused.
    pub fn blocked(&self) -> bool {
        self.findings.iter().any(|finding| finding.level == PolicyLevel::Block)
    }
}

/// A finding with what tells it from others, and how grave it is.
struct Raw {
    finding: Finding,
    key: (String, String),
    /// Class, what is asked, and for masses the milligrams; ties between verdict words make nothing graver.
    gravity: (u8, Asks, u64),
}

/// Judges what is staged against what is committed, on a day.
///
/// `edits` is what differs from the one to the other; `explained`, what decisions account for of it;
/// `completions`, what completing the records of [`to_be_completed`] gives.
pub fn judge(
    base: &Side<'_>,
    staged: &Side<'_>,
    edits: &Edits,
    explained: &Explained,
    completions: &Completions,
    today: Day,
) -> GateReport {
    let policy = |rule: &str| level(base.ledger, staged.ledger, rule);
    let mut report = GateReport::default();
    for fault in staged.ledger.faults.iter().filter(|fault| fault.level == Level::Error) {
        // A record that can't be read says nothing: it is never let through as already known.
        report.findings.push(Finding {
            rule: "broken-record",
            level: PolicyLevel::Block,
            address: Address::ledger(),
            route: String::new(),
            panel: None,
            message: format!("{} ({})", fault.message, fault.rule),
            help: fault
                .help
                .clone()
                .unwrap_or_else(|| "mend the record; `bondline check --staged` shows all faults".to_string()),
            place: Some((fault.place.file.clone(), fault.place.line)),
        });
    }
    if let (Err(missing), true) = (&staged.evaluation, report.findings.is_empty()) {
        report.findings.push(cannot_judge(missing));
    }
    let names = Names::of(base, staged, edits);
    let mut new: Vec<Raw> = Vec::new();
    let mut old: Vec<Raw> = Vec::new();
    let is_decided = |place: &str| {
        // Where the last of a list goes, all of it does.
        let is_of = |change: &&Change| {
            let rest = place.strip_prefix(change.address.as_str());
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
        };
        let mut own = edits.changes.iter().filter(is_of).peekable();
        let is_fresh = |change: &Change| explained.fresh_on(record_of(&change.address)).next().is_some();
        own.peek().is_some() && own.all(|change| explained.covers(change) && !is_fresh(change))
    };
    let told = due::computed_margin(base, staged, &names, &mut new, &mut old);
    for (side, told, into) in [(staged, &told, &mut new), (base, &BTreeSet::new(), &mut old)] {
        if let Ok(evaluation) = side.evaluation {
            unqualified(side.ledger, evaluation, into);
            due::expired_concession(side.ledger, evaluation, today, into);
            due::negative_margin(side.ledger, evaluation, told, into);
        }
        due::bond_route(side.ledger, into);
        budget::over_budget(side, base.ledger, (&names, &is_decided), into);
        held::pieces_on_hold(base.ledger, side.ledger, into);
    }
    for (finding, key) in altered_evidence(base.ledger, staged.ledger, edits, completions, &explained.stands)
    {
        new.push(Raw { finding, key: (key, String::new()), gravity: (0, Asks::None, 0) });
    }
    for (finding, key) in altered::changed_data(base.ledger) {
        old.push(Raw { finding, key: (key, String::new()), gravity: (0, Asks::None, 0) });
    }
    if let (Ok(before), Ok(after)) = (base.evaluation, staged.evaluation) {
        lapsed(staged.ledger, before, after, &names, &mut new);
    }
    due::concession_approved(base, staged, &names, &mut new);
    due::milestone_not_earned(base, staged, &names, &mut new);
    let edited = decided::Edited { edits, explained };
    weakened::weakened(base, staged, &names, &edited, &mut new);
    if policy("piece-on-hold") != PolicyLevel::Off {
        held::altered_readings(base.ledger, staged.ledger, &names, &edited, &mut new);
    }
    if let Err(missing) = decided::unexplained(base, staged, &names, &edited, &mut new) {
        // What it needs is missing from a record that is broken, which is said above.
        if report.findings.is_empty() {
            report.findings.push(cannot_judge(&missing));
        }
    }
    let known: BTreeMap<(&str, String, String), (u8, Asks, u64)> = old
        .into_iter()
        .map(|raw| ((raw.finding.rule, names.now(&raw.key.0), names.now(&raw.key.1)), raw.gravity))
        .collect();
    for mut raw in new {
        let own = match (raw.finding.level, policy(raw.finding.rule)) {
            (_, PolicyLevel::Off) => continue,
            // What only warns by its nature is not raised to block by the policy.
            (PolicyLevel::Warn, _) => PolicyLevel::Warn,
            (_, own) => own,
        };
        raw.finding.level = own;
        let before = known.get(&(raw.finding.rule, raw.key.0.clone(), raw.key.1.clone()));
        if before.is_some_and(|before| *before >= raw.gravity) {
            *report.known.entry(raw.finding.rule).or_default() += 1;
            report.known_at.push((raw.finding.rule, raw.finding.address));
        } else {
            report.findings.push(raw.finding);
        }
    }
    report.findings.sort_by(|one, two| {
        let rank = |level: PolicyLevel| u8::from(level != PolicyLevel::Block);
        let order = |finding: &Finding| {
            (
                rank(finding.level),
                finding.panel.clone(),
                finding.rule,
                finding.address.clone(),
                finding.message.clone(),
            )
        };
        order(one).cmp(&order(two))
    });
    report
}

fn cannot_judge(missing: &ArticleError) -> Finding {
    Finding {
        rule: "broken-record",
        level: PolicyLevel::Block,
        address: Address::ledger(),
        route: String::new(),
        panel: None,
        message: missing.to_string(),
        help: "mend the record; `bondline check --staged` shows all faults".to_string(),
        place: None,
    }
}

/// The stricter of both policies; the built-in level where a ledger names none.
fn level(base: &Ledger, staged: &Ledger, rule: &str) -> PolicyLevel {
    if rule == "broken-record" {
        return PolicyLevel::Block;
    }
    let heads = [base, staged].into_iter().filter_map(|ledger| ledger.head.as_ref());
    heads.map(|head| gate_level(Some(head), rule)).min().unwrap_or_else(|| gate_level(None, rule))
}

/// Names of the base as the head calls the same thing: subjects that replaced others in their place, and
/// panels and showings that only changed their name.
struct Names {
    duties: BTreeMap<String, String>,
    panels: BTreeMap<String, String>,
    showings: BTreeMap<String, String>,
    milestones: BTreeMap<String, String>,
    concessions: BTreeMap<String, String>,
    assemblies: BTreeMap<String, String>,
}

impl Names {
    fn of(base: &Side<'_>, staged: &Side<'_>, edits: &Edits) -> Self {
        let pairs = match (base.evaluation, staged.evaluation) {
            (Ok(before), Ok(after)) => {
                replacements(base.ledger, before, staged.ledger, after, edits).unwrap_or_default()
            }
            _ => BTreeMap::new(),
        };
        Self {
            duties: pairs.into_iter().map(|(new, old)| (duty_text(&old), duty_text(&new))).collect(),
            panels: edits.renamed_of(RecordKind::Panel),
            showings: edits.renamed_of(RecordKind::Showing),
            milestones: renamed_milestones(base.ledger, staged.ledger),
            concessions: edits.renamed_of(RecordKind::Concession),
            assemblies: edits.renamed_of(RecordKind::Assembly),
        }
    }

    fn milestone<'a>(&'a self, milestone: &'a str) -> &'a str {
        self.milestones.get(milestone).map_or(milestone, String::as_str)
    }

    /// What an assembly was called in the base.
    fn assembly_before<'a>(&'a self, id: &'a str) -> &'a str {
        self.assemblies.iter().find(|(_, new)| *new == id).map_or(id, |(old, _)| old.as_str())
    }

    fn now(&self, text: &str) -> String {
        if let Some(new) = text.strip_prefix("assembly ").and_then(|id| self.assemblies.get(id)) {
            return format!("assembly {new}");
        }
        if let Some(panel) = text.strip_prefix("panel/").and_then(|panel| self.panels.get(panel)) {
            return format!("panel/{panel}");
        }
        self.duties.get(text).cloned().unwrap_or_else(|| text.to_string())
    }

    fn panel<'a>(&'a self, panel: &'a String) -> &'a String {
        self.panels.get(panel).unwrap_or(panel)
    }
}

/// Milestones that are called otherwise and stand where they stood: old name, new name.
fn renamed_milestones(base: &Ledger, staged: &Ledger) -> BTreeMap<String, String> {
    let of = |ledger: &Ledger| -> Vec<String> {
        ledger.head.iter().flat_map(|head| &head.milestones).map(ToString::to_string).collect()
    };
    let (old, new) = (of(base), of(staged));
    if old.len() != new.len() {
        return BTreeMap::new();
    }
    let pairs = old.iter().zip(&new).filter(|(was, is)| !new.contains(was) && !old.contains(is));
    pairs.map(|(was, is)| (was.clone(), is.clone())).collect()
}

fn duty_text(key: &DutyKey) -> String {
    format!("showing/{} on {}", key.0, key.1)
}

/// Released panels with a duty that is neither met nor conceded; a warning for others once it is due.
fn unqualified(ledger: &Ledger, evaluation: &Evaluation, into: &mut Vec<Raw>) {
    let reached = ledger.head.as_ref().and_then(|head| head.reached.as_ref()).map(|text| text.as_str());
    let reached = ledger.milestone(reached);
    for (key, duty) in &evaluation.duties {
        let due = ledger.milestone(duty.needed_by.as_deref());
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| !judged.verdict.is_closed()) {
            let Some(entry) = ledger.panels.get(panel) else { continue };
            let asked = entry.value.released && ledger.release_needs(&entry.value, duty.needed_by.as_deref());
            let warned = !entry.value.released && due.is_some() && reached.is_some() && due <= reached;
            if !asked && !warned {
                continue;
            }
            let state = if entry.value.released { "is released" } else { "is not released" };
            into.push(Raw {
                finding: Finding {
                    rule: "unqualified-recipe",
                    level: if asked { PolicyLevel::Block } else { PolicyLevel::Warn },
                    address: Address::new(RecordKind::Panel, panel.clone()),
                    route: route_of(&entry.value, evaluation, key, panel),
                    panel: Some(panel.clone()),
                    message: format!(
                        "`{panel}` {state}, but {} is {}{}{}{}",
                        duty_text(key),
                        judged.verdict,
                        asks_words(judged),
                        first_reason(judged),
                        concession_words(judged)
                    ),
                    help: way_on(key, entry.value.released),
                    place: None,
                },
                key: (format!("panel/{panel}"), duty_text(key)),
                gravity: gravity(judged),
            });
        }
    }
}

fn asks_words(judged: &Judged) -> String {
    if judged.asks == Asks::None { String::new() } else { format!(", asks {}", judged.asks) }
}

fn first_reason(judged: &Judged) -> String {
    // The first of the gravest: what leads the list is the heart of it, such as that nothing is recorded, and
    // that a criterion does not hold.
    let gravest = match judged.verdict {
        Verdict::Failed => judged.because.first(),
        _ => judged.because.iter().rev().max_by_key(|reason| reason.effect),
    };
    gravest.map_or_else(String::new, |reason| format!(" ({})", reason.difference(" -> ")))
}

/// What concessions there are for it, and why none of them holds.
fn concession_words(judged: &Judged) -> String {
    let all = judged.because.iter().filter(|reason| reason.attribute == "concession");
    all.map(|reason| format!("; {}", reason.is)).collect()
}

fn way_on(key: &DutyKey, released: bool) -> String {
    let why = format!("`bondline why {} '{}'` shows the chain", key.0, key.1);
    if released {
        format!("prove it again, undo the change, or keep the trial on a panel with `released: false`; {why}")
    } else {
        format!("it is due at a milestone that is reached; {why}")
    }
}

fn gravity(judged: &Judged) -> (u8, Asks, u64) {
    let (class, asks, _) = judged.gravity();
    (class, asks, 0)
}

/// The first zone or joint of the panel that uses the subject.
fn route_of(panel: &crate::record::Panel, evaluation: &Evaluation, key: &DutyKey, id: &str) -> String {
    let Some(sites) = evaluation.uses.get(&key.1).and_then(|panels| panels.get(id)) else {
        return String::new();
    };
    let slug = |text: &crate::record::Text| text.as_str().replace(' ', "-");
    if let Some(zone) = sites.zones.first().and_then(|at| panel.zones.get(*at)) {
        let painted = matches!(key.1, crate::article::Subject::Painted(_, Some(_)));
        let field = match (painted, &zone.recipe) {
            (true, _) => ".finish",
            (false, Some(_)) => ".recipe",
            (false, None) => ".sheet",
        };
        return format!("zones.{}{field}", slug(&zone.name));
    }
    sites
        .joints
        .first()
        .and_then(|at| panel.joints.get(*at))
        .map_or_else(String::new, |joint| format!("joints.{}", slug(&joint.name)))
}

/// Duties met before and not now that no release needs yet.
fn lapsed(ledger: &Ledger, before: &Evaluation, after: &Evaluation, names: &Names, into: &mut Vec<Raw>) {
    let mut old: BTreeSet<(String, &String)> = BTreeSet::new();
    for (key, duty) in &before.duties {
        for (panel, _) in duty.panels.iter().filter(|(_, judged)| judged.verdict.is_closed()) {
            old.insert((names.now(&duty_text(key)), names.panel(panel)));
        }
    }
    for (key, duty) in &after.duties {
        for (panel, judged) in duty.panels.iter().filter(|(_, judged)| !judged.verdict.is_closed()) {
            // What a release needs is said by the rule on unqualified recipes; what it does not need yet is
            // said here.
            let needed = ledger.panels.get(panel).is_some_and(|panel| {
                panel.value.released && ledger.release_needs(&panel.value, duty.needed_by.as_deref())
            });
            if needed || !old.contains(&(duty_text(key), panel)) {
                continue;
            }
            let address = match ledger.panels.contains_key(panel) {
                true => Address::new(RecordKind::Panel, panel.clone()),
                false => Address::new(RecordKind::Showing, key.0.clone()),
            };
            let about = if panel.is_empty() { String::new() } else { format!(" for panel `{panel}`") };
            into.push(Raw {
                finding: Finding {
                    rule: "lapsed-evidence",
                    level: PolicyLevel::Block,
                    address,
                    route: ledger.panels.get(panel).map_or_else(String::new, |entry| route_of(&entry.value, after, key, panel)),
                    panel: (!panel.is_empty()).then(|| panel.clone()),
                    message: format!(
                        "{} was met and is {}{about}{}{}",
                        duty_text(key),
                        judged.verdict,
                        asks_words(judged),
                        first_reason(judged)
                    ),
                    help: format!("`bondline impact` shows what proves it again; `bondline why {} '{}'` shows the chain", key.0, key.1),
                    place: None,
                },
                key: (format!("lapsed {panel}"), duty_text(key)),
                gravity: gravity(judged),
            });
        }
    }
}
