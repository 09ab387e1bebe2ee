//! `bondline report`.

use super::args::ReportArgs;
use super::context::{Context, Failure, Loaded, Status, nearest, to_the_end};
use super::history::{Shown, steps};
use super::laid::some_decisions;
use super::report_folder::write;
use crate::article::ArticleError;
use crate::change::impact::{Impact, impact_of};
use crate::change::progress::Of;
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::assumed;
use crate::qualify::verdict::{Evaluation, evaluate, evaluate_beside};
use crate::record::{Child, Day, DecisionStatus, RecordKind};
use crate::report::head::ReportHead;
use crate::report::history::Step;
use crate::report::page::count;
use crate::report::pages::{ChangeInput, Inputs, PageError, Since, Site};
use crate::source::{Commit, Place};
use serde_json::json;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::sync::Arc;

/// Decisions that get a sheet without being named; with more, none does.
const DECISIONS: usize = 8;
/// Beyond this many duties no decision gets a sheet without being named: each is a whole evaluation.
const DUTIES: usize = 3_000;

pub(super) fn run(context: &mut Context, args: &ReportArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let state = to_the_end(State::read(context, &place, args)?);
    let site = state.site(context, &place, args.commits, &mut Past::default())?;
    let folder = context.directory.join(&args.out);
    let files = write(&site, &folder, &context.directory)?;
    let effort = state.evaluation.effort();
    context.memory.work(format!(
        "margins of {} panels computed and of {} found, for the pages",
        effort.computed, effort.recalled
    ));
    if context.json() {
        let document = json!({ "schema": "report/1", "out": folder.display().to_string(), "files": files });
        writeln!(out, "{document:#}")?;
    } else {
        let pages = files.iter().filter(|file| file.ends_with(".html")).count();
        writeln!(
            out,
            "{} in {}: open {}",
            count(pages, "page"),
            folder.display(),
            folder.join("index.html").display()
        )?;
    }
    Ok(Status::Done)
}

/// What the last commits did, kept for as long as they are the last and it is the same day: no edit of a file
/// changes it.
#[derive(Default)]
pub(super) struct Past {
    at: Option<(String, Day)>,
    steps: Option<Vec<Step>>,
    /// By milestone: the state that reached it, judged; `None` where there is none.
    reached: BTreeMap<String, Option<Judged>>,
}

/// A past state with its verdicts.
struct Judged {
    loaded: Loaded,
    evaluation: Evaluation,
}

impl Past {
    /// Forgets what is of another line of commits or another day.
    fn stand(&mut self, line: &[Commit], today: Day) {
        let at = line.first().map(|commit| (commit.id.clone(), today));
        if self.at.is_none() || self.at != at {
            *self = Self { at, ..Self::default() };
        }
    }
}

/// A change that was asked for, read and judged.
struct Drawn {
    stem: String,
    title: String,
    impact: Impact,
    /// `None` is the state that the report is about.
    base: Option<Ledger>,
    head: Ledger,
    /// What the state that is proposed says about itself, and which it is.
    says: (ReportHead, String),
    /// What could not be judged on either side, in words.
    left_out: Vec<String>,
    decision: Option<String>,
}

/// Everything that pages are made from.
pub(super) struct State {
    loaded: Loaded,
    /// The ledger without what can't be judged, where that is less than all.
    some: Option<Ledger>,
    evaluation: Evaluation,
    left_out: Vec<String>,
    drawn: Vec<Drawn>,
    /// Open decisions without a sheet: id, title, why.
    unshown: Vec<(String, Option<String>, String)>,
}

impl State {
    /// Reads and judges what a report is about.
    ///
    /// # Errors
    /// [`Failure`] where a state or a decision that was named can't be had.
    pub fn read(context: &Context, place: &Place, args: &ReportArgs) -> Result<Self, Failure> {
        let loaded = context.load_first(place, &args.source, &args.with)?;
        let (some, evaluation, left_out) = judged(context, &loaded, None)?;
        let mut own = Self { loaded, some, evaluation, left_out, drawn: Vec::new(), unshown: Vec::new() };
        own.draw(context, place, args)?;
        Ok(own)
    }

    fn title(&self, decision: &str) -> Option<String> {
        self.loaded.ledger.decisions.get(decision)?.value.title.clone()
    }

    fn ledger(&self) -> &Ledger {
        self.some.as_ref().unwrap_or(&self.loaded.ledger)
    }

    fn draw(&mut self, context: &Context, place: &Place, args: &ReportArgs) -> Result<(), Failure> {
        let open: Vec<String> = self
            .loaded
            .ledger
            .decisions
            .iter()
            .filter(|(_, entry)| {
                let status = entry.value.status;
                matches!(status, DecisionStatus::Proposed | DecisionStatus::Approved)
                    && entry.value.found.is_none()
                    && !entry.value.changes.is_empty()
            })
            .map(|(id, _)| id.clone())
            .collect();
        let too_many = if open.len() > DECISIONS {
            Some(format!("more than {DECISIONS} are open, name it with --change"))
        } else if self.evaluation.duties.len() > DUTIES {
            Some(format!("the ledger has more than {DUTIES} duties, name it with --change"))
        } else {
            None
        };
        for one in &open {
            let drawn = match &too_many {
                Some(why) => Err(why.clone()),
                None => match self.decision(context, place, one) {
                    Ok(drawn) if drawn.impact.changes.is_empty() => {
                        Err("the records hold already what it changes".to_string())
                    }
                    Ok(drawn) => Ok(drawn),
                    Err(failure) => Err(failure.message),
                },
            };
            match drawn {
                Ok(drawn) => self.drawn.push(drawn),
                // What is done needs no sheet of what it would do.
                Err(_) if too_many.is_none() && self.is_carried_out(context, place, one)? => {}
                Err(why) => self.unshown.push((one.clone(), self.title(one), why)),
            }
        }
        for (at, asked) in args.change.iter().enumerate() {
            // The same once more has the same sheet, and is not judged again.
            if args.change.iter().take(at).any(|before| before == asked) {
                continue;
            }
            match asked.split_once("..") {
                Some((base, head)) => {
                    let mut drawn = revisions(context, place, base, head)?;
                    let taken = |stem: &str| self.drawn.iter().any(|own| own.stem.eq_ignore_ascii_case(stem));
                    drawn.stem = free_stem(base, head, taken);
                    self.drawn.push(drawn);
                }
                None => {
                    let id = self.whole_id(asked)?;
                    self.unshown.retain(|(own, _, _)| *own != id);
                    if self.drawn.iter().all(|known| known.decision.as_ref() != Some(&id)) {
                        self.drawn.push(self.decision(context, place, &id)?);
                    }
                }
            }
        }
        Ok(())
    }

    /// Whether a commit carried a decision out, and none took it back.
    fn is_carried_out(&self, context: &Context, place: &Place, id: &str) -> Result<bool, Failure> {
        let entry = self.loaded.ledger.decisions.get(id).filter(|_| place.repository().is_some());
        let applied = match entry {
            Some(entry) => context.application(place, &self.loaded, entry)?,
            None => None,
        };
        Ok(applied.is_some_and(|applied| applied.undone.is_none()))
    }

    /// The id of the decision that was asked for.
    fn whole_id(&self, asked: &str) -> Result<String, Failure> {
        if self.loaded.ledger.decision(asked).is_none() && !asked.is_empty() {
            let names: Vec<&str> = self.loaded.ledger.decisions.keys().map(String::as_str).collect();
            return Err(Failure::new(
                format!("`{asked}` is neither BASE..HEAD nor a decision"),
                nearest(asked, &names),
            ));
        }
        let decisions = some_decisions(&self.loaded.ledger, &[asked.to_string()])?;
        Ok(decisions.first().map(|(id, _)| id.clone()).unwrap_or_default())
    }

    fn decision(&self, context: &Context, place: &Place, id: &str) -> Result<Drawn, Failure> {
        let decisions = some_decisions(&self.loaded.ledger, &[id.to_string()])?;
        let head = context.laid_over(place, &self.loaded, &decisions)?;
        let label = format!("{} with {id}", self.loaded.label());
        let proposed = Side::of(context, head, Some(&self.evaluation))?;
        let impact =
            proposed.against((self.ledger(), &self.loaded.label()), &self.evaluation, &label, context)?;
        let title = self.title(id).map_or_else(|| id.to_string(), |title| format!("{id}: {title}"));
        // What the whole report leaves out stands on its first page; what the change makes unfit is told on its sheet.
        let left_out = proposed.left_out.iter().filter(|one| !self.left_out.contains(one)).cloned().collect();
        let says = (proposed.says(context), label);
        let (stem, decision) = (id.to_string(), Some(id.to_string()));
        Ok(Drawn { stem, title, impact, base: None, head: proposed.ledger(), says, left_out, decision })
    }

    /// Makes the pages ready.
    ///
    /// # Errors
    /// [`Failure`] where a template is at fault.
    pub fn site<'s>(
        &'s self,
        context: &Context,
        place: &Place,
        commits: usize,
        past: &mut Past,
    ) -> Result<Site<'s>, Failure> {
        let line =
            if place.repository().is_some() { place.line("HEAD").unwrap_or_default() } else { Vec::new() };
        let changes = self.drawn.iter().map(|own| ChangeInput {
            stem: own.stem.clone(),
            title: own.title.clone(),
            impact: own.impact.clone(),
            base: own.base.as_ref().unwrap_or(self.ledger()),
            head: &own.head,
            says: own.says.clone(),
            left_out: own.left_out.clone(),
            decision: own.decision.as_ref().and_then(|id| self.loaded.ledger.decisions.get(id)),
        });
        let shown = line.get(..commits.min(line.len())).unwrap_or_default();
        past.stand(&line, context.today);
        let since = self.since(context, place, &line, past);
        let mut known = vec![(self.ledger(), &self.evaluation)];
        known.extend(past.reached.values().flatten().map(|own| (&own.loaded.ledger, &own.evaluation)));
        let judge = || steps(context, place, &Shown::all(shown, &Of::Programme), &known);
        let history = past.steps.get_or_insert_with(judge).clone();
        Site::new(Inputs {
            ledger: self.ledger(),
            evaluation: &self.evaluation,
            head: context.head_with(&self.loaded, 0),
            label: self.loaded.label(),
            today: context.today,
            changes: changes.collect(),
            since,
            history,
            faults: self.loaded.ledger.faults.clone(),
            left_out: self.left_out.clone(),
            unshown: self.unshown.clone(),
        })
        .map_err(failed)
    }

    /// What changed since the commit that says that the last milestone was reached.
    fn since(&self, context: &Context, place: &Place, line: &[Commit], past: &mut Past) -> Option<Since> {
        let milestone = milestone_of(&self.loaded.ledger)?;
        let base = past
            .reached
            .entry(milestone.clone())
            .or_insert_with(|| {
                let loaded = reached(context, place, line, &milestone)?;
                let evaluation = evaluate_beside(&loaded.ledger, context.today, &self.evaluation).ok()?;
                Some(Judged { loaded, evaluation })
            })
            .as_ref()?;
        let label = (base.loaded.label(), self.loaded.label());
        let before = (&base.loaded.ledger, label.0.as_str());
        let impact = impact_of(before, &base.evaluation, (self.ledger(), &label.1), &self.evaluation).ok()?;
        Some(Since { milestone, impact })
    }
}

fn milestone_of(ledger: &Ledger) -> Option<String> {
    ledger.head.as_ref()?.reached.as_ref().map(ToString::to_string)
}

/// The state after the oldest commit from which on every one says that the milestone was reached.
fn reached(context: &Context, place: &Place, line: &[Commit], milestone: &str) -> Option<Loaded> {
    let mut at: Option<&Commit> = None;
    let mut known: Option<(Option<String>, bool)> = None;
    for commit in line {
        let snapshot = place.revision(&commit.id).ok()?;
        let own = snapshot.blob_id("ledger.yaml");
        let same = match &known {
            // What did not change says what it said.
            Some((before, same)) if *before == own => *same,
            _ => milestone_of(&context.read(snapshot).ledger).as_deref() == Some(milestone),
        };
        known = Some((own, same));
        if !same {
            break;
        }
        at = Some(commit);
    }
    Some(context.read(place.revision(&at?.id).ok()?))
}

fn revisions(context: &Context, place: &Place, base: &str, head: &str) -> Result<Drawn, Failure> {
    let before = context.read(place.revision(base)?);
    let after = match head {
        "" => context.read(place.work_tree()?),
        head => context.read(place.revision(head)?),
    };
    let before = Side::of(context, before, None)?;
    let after = Side::of(context, after, Some(&before.evaluation))?;
    let label = after.loaded.label();
    let impact =
        after.against((before.some(), &before.loaded.label()), &before.evaluation, &label, context)?;
    let of = |side: &Side| {
        let label = side.loaded.label();
        side.left_out.iter().map(|one| format!("{label}: {one}")).collect::<Vec<_>>()
    };
    Ok(Drawn {
        stem: String::new(),
        title: format!("From {base} to {}", named(head)),
        impact,
        says: (after.says(context), label),
        left_out: [of(&before), of(&after)].concat(),
        base: Some(before.ledger()),
        head: after.ledger(),
        decision: None,
    })
}

/// One side of a change, judged without what can't be, as the state that the report is about.
struct Side {
    loaded: Loaded,
    some: Option<Ledger>,
    evaluation: Evaluation,
    left_out: Vec<String>,
}

impl Side {
    fn of(context: &Context, loaded: Loaded, beside: Option<&Evaluation>) -> Result<Self, Failure> {
        let (some, evaluation, left_out) = judged(context, &loaded, beside)?;
        Ok(Self { loaded, some, evaluation, left_out })
    }

    fn some(&self) -> &Ledger {
        self.some.as_ref().unwrap_or(&self.loaded.ledger)
    }

    fn ledger(self) -> Ledger {
        self.some.unwrap_or(self.loaded.ledger)
    }

    /// What it does to the state before.
    fn against(
        &self,
        base: (&Ledger, &str),
        before: &Evaluation,
        label: &str,
        context: &Context,
    ) -> Result<Impact, Failure> {
        impact_of(base, before, (self.some(), label), &self.evaluation)
            .map_err(|missing| context.missing(&self.loaded, &missing))
    }

    /// What a report on it says about itself.
    fn says(&self, context: &Context) -> ReportHead {
        let count = assumed::count(self.some(), &self.evaluation);
        context.head_with(&self.loaded, count.unwrap_or(self.evaluation.assumptions.len()))
    }
}

fn named(head: &str) -> &str {
    if head.is_empty() { "work tree" } else { head }
}

/// The name of a change's sheet, in letters that every file system has. `HEAD~2` and `HEAD^2` are the same in those:
/// one that is taken gets a short digest of what was asked for.
fn free_stem(base: &str, head: &str, taken: impl Fn(&str) -> bool) -> String {
    let plain = |text: &str| -> String {
        text.chars().map(|one| if one.is_ascii_alphanumeric() || one == '.' { one } else { '-' }).collect()
    };
    let stem = format!("{}-to-{}", plain(base).trim_matches('.'), plain(named(head)).trim_matches('.'));
    if !taken(&stem) {
        return stem;
    }
    let digest = Sha256::digest(format!("{base}..{head}"));
    digest.iter().take(4).fold(format!("{stem}-"), |all, byte| format!("{all}{byte:02x}"))
}

/// Judges a ledger; where a record that something rests on can't be read, what rests on it is left out and named.
fn judged(
    context: &Context,
    loaded: &Loaded,
    beside: Option<&Evaluation>,
) -> Result<(Option<Ledger>, Evaluation, Vec<String>), Failure> {
    let whole = |ledger: &Ledger| match beside {
        Some(other) => evaluate_beside(ledger, context.today, other),
        None => context.judged(ledger),
    };
    let (ledger, evaluation, mut left_out) = judged_by(&loaded.ledger, context.today, whole)
        .map_err(|missing| context.missing(loaded, &missing))?;
    let broken = loaded.ledger.broken.iter().map(|address| format!("{address} can't be read"));
    left_out.splice(0..0, broken);
    Ok((ledger, evaluation, left_out))
}

fn judged_by(
    whole: &Ledger,
    today: Day,
    judge: impl Fn(&Ledger) -> Result<Evaluation, ArticleError>,
) -> Result<(Option<Ledger>, Evaluation, Vec<String>), ArticleError> {
    let mut left_out = Vec::new();
    let mut ledger: Option<Ledger> = None;
    loop {
        let own = ledger.as_ref().unwrap_or(whole);
        let missing = match judge(own) {
            Ok(found) => return Ok((ledger, found, left_out)),
            Err(missing) => missing,
        };
        let mut less = own.clone();
        let mut panels = unfit_panels(own, today);
        if panels.is_empty() {
            // What no panel lacks by itself: what is above the culprit goes.
            let culprit = match &missing {
                ArticleError::Missing { by, .. } => by,
                ArticleError::Unstated { address, .. } | ArticleError::Unfit { address, .. } => address,
            };
            let above = Uses::of(own).reached_from(culprit).into_iter().map(|one| one.address);
            let above = above.chain([culprit.clone()]).filter(|one| one.kind() == RecordKind::Panel);
            let known = above.filter(|one| own.panels.contains_key(one.id()));
            panels = known.map(|one| (one.id().to_string(), missing.to_string())).collect();
        }
        if panels.is_empty() {
            // A panel or assembly that can't be read stands in the way of the whole: the rest is weighed without it.
            if less.broken.is_empty() {
                return Err(missing);
            }
            less.broken.clear();
            left_out.push("masses and verdicts are those of what can be read".to_string());
        }
        for (panel, why) in panels {
            less.panels.remove(&panel);
            left_out.push(format!("panel/{panel}: {why}"));
        }
        left_out.extend(without_the_lost(&mut less));
        ledger = Some(less);
    }
}

/// Takes out of assemblies what they hold and is not there, and says so of each assembly: the rest is weighed.
fn without_the_lost(ledger: &mut Ledger) -> Vec<String> {
    let mut said = Vec::new();
    let panels: BTreeSet<String> = ledger.panels.keys().cloned().collect();
    let assemblies: BTreeSet<String> = ledger.assemblies.keys().cloned().collect();
    for (id, entry) in &mut ledger.assemblies {
        let lost = |child: &Child| {
            let panel = child.panel.as_ref().map(|own| own.id()).filter(|id| !panels.contains(*id));
            let inner = child.assembly.as_ref().map(|own| own.id()).filter(|id| !assemblies.contains(*id));
            panel.map(|id| format!("panel/{id}")).or_else(|| inner.map(|id| format!("assembly/{id}")))
        };
        let gone: Vec<String> = entry.value.children.iter().filter_map(lost).collect();
        if gone.is_empty() {
            continue;
        }
        let value = Arc::make_mut(&mut entry.value);
        value.children.retain(|child| lost(child).is_none());
        said.push(format!("assembly/{id} is weighed without {}", gone.join(", ")));
    }
    said
}

/// Panels that can't be judged by themselves, each with why: found together, so that a ledger is not judged once for
/// each record that can't be read. Halves are looked at as long as they hold one.
fn unfit_panels(ledger: &Ledger, today: Day) -> BTreeMap<String, String> {
    let mut bare = ledger.clone();
    // What a panel is made of is looked at before what is asked of it.
    bare.showings.clear();
    bare.evidence.clear();
    bare.concessions.clear();
    let all: Vec<&String> = ledger.panels.keys().collect();
    let mut waiting: Vec<&[&String]> = vec![&all];
    let mut found = BTreeMap::new();
    while let Some(some) = waiting.pop() {
        bare.panels =
            some.iter().filter_map(|id| Some(((*id).clone(), ledger.panels.get(*id)?.clone()))).collect();
        match (evaluate(&bare, today), some) {
            (Ok(_), _) => {}
            (Err(missing), [one]) => {
                found.insert((*one).clone(), missing.to_string());
            }
            (Err(_), some) => {
                let (first, rest) = some.split_at(some.len() / 2);
                waiting.extend([first, rest].into_iter().filter(|half| !half.is_empty()));
            }
        }
    }
    found
}

/// The failure of drawing a page.
pub(super) fn failed(error: PageError) -> Failure {
    Failure::new(
        error.to_string(),
        "this is a defect of bondline: please report it with the ledger if you may",
    )
}

#[cfg(test)]
mod tests;
