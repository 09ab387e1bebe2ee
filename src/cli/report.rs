//! `bondline report`.

use super::args::ReportArgs;
use super::context::{Context, Failure, Loaded, Status, nearest, to_the_end};
use super::history::steps;
use super::laid::some_decisions;
use super::report_folder::write;
use crate::article::ArticleError;
use crate::change::impact::{Impact, impact_of};
use crate::graph::Uses;
use crate::ledger::Ledger;
use crate::qualify::verdict::{Evaluation, evaluate, evaluate_beside};
use crate::record::{Child, Day, DecisionStatus, RecordKind};
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

pub(super) fn run(
    context: &mut Context,
    args: &ReportArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let place = context.place()?;
    let state = to_the_end(State::read(context, &place, args, err)?);
    let site = state.site(context, &place, args.commits, &mut Past::default())?;
    let folder = context.directory.join(&args.out);
    let files = write(&site, &folder, &context.directory)?;
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
    base: Option<Loaded>,
    head: Loaded,
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
    pub fn read(
        context: &Context,
        place: &Place,
        args: &ReportArgs,
        err: &mut dyn Write,
    ) -> Result<Self, Failure> {
        let loaded = context.load_with(place, &args.source, &args.with)?;
        let (some, evaluation, left_out) = judged(context, &loaded)?;
        let mut own = Self { loaded, some, evaluation, left_out, drawn: Vec::new(), unshown: Vec::new() };
        own.draw(context, place, args, err)?;
        Ok(own)
    }

    fn title(&self, decision: &str) -> Option<String> {
        self.loaded.ledger.decisions.get(decision)?.value.title.clone()
    }

    fn ledger(&self) -> &Ledger {
        self.some.as_ref().unwrap_or(&self.loaded.ledger)
    }

    fn draw(
        &mut self,
        context: &Context,
        place: &Place,
        args: &ReportArgs,
        err: &mut dyn Write,
    ) -> Result<(), Failure> {
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
                None => match self.decision(context, place, one, err) {
                    Ok(drawn) if drawn.impact.changes.is_empty() => {
                        Err("the records hold already what it changes".to_string())
                    }
                    Ok(drawn) => Ok(drawn),
                    Err(failure) => Err(failure.message),
                },
            };
            match drawn {
                Ok(drawn) => self.drawn.push(drawn),
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
                    let mut drawn = revisions(context, place, base, head, err)?;
                    let taken = |stem: &str| self.drawn.iter().any(|own| own.stem.eq_ignore_ascii_case(stem));
                    drawn.stem = free_stem(base, head, taken);
                    self.drawn.push(drawn);
                }
                None => {
                    let id = self.whole_id(asked)?;
                    self.unshown.retain(|(own, _, _)| *own != id);
                    if self.drawn.iter().all(|known| known.decision.as_ref() != Some(&id)) {
                        self.drawn.push(self.decision(context, place, &id, err)?);
                    }
                }
            }
        }
        Ok(())
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

    fn decision(
        &self,
        context: &Context,
        place: &Place,
        id: &str,
        err: &mut dyn Write,
    ) -> Result<Drawn, Failure> {
        let decisions = some_decisions(&self.loaded.ledger, &[id.to_string()])?;
        let head = context.laid_over(place, &self.loaded, &decisions)?;
        let after = context.evaluate_beside(&head, &self.evaluation, err)?;
        let label = format!("{} with {id}", self.loaded.label());
        let impact = impact_of(
            (&self.loaded.ledger, &self.loaded.label()),
            &self.evaluation,
            (&head.ledger, &label),
            &after,
        )
        .map_err(|missing| context.missing(&head, &missing))?;
        let title = self.loaded.ledger.decisions.get(id).and_then(|entry| entry.value.title.clone());
        let title = title.map_or_else(|| id.to_string(), |title| format!("{id}: {title}"));
        Ok(Drawn { stem: id.to_string(), title, impact, base: None, head, decision: Some(id.to_string()) })
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
            base: own.base.as_ref().map_or(&self.loaded.ledger, |base| &base.ledger),
            head: &own.head.ledger,
            decision: own.decision.as_ref().and_then(|id| self.loaded.ledger.decisions.get(id)),
        });
        let shown = line.get(..commits.min(line.len())).unwrap_or_default();
        past.stand(&line, context.today);
        let judge = || steps(context, place, shown, Some(&self.evaluation));
        let history = past.steps.get_or_insert_with(judge).clone();
        Site::new(Inputs {
            ledger: self.ledger(),
            evaluation: &self.evaluation,
            head: context.report_head(&self.loaded, &self.evaluation),
            label: self.loaded.label(),
            today: context.today,
            changes: changes.collect(),
            since: self.since(context, place, &line, past),
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

fn revisions(
    context: &Context,
    place: &Place,
    base: &str,
    head: &str,
    err: &mut dyn Write,
) -> Result<Drawn, Failure> {
    let before = context.read(place.revision(base)?);
    let after = match head {
        "" => context.read(place.work_tree()?),
        head => context.read(place.revision(head)?),
    };
    let was = context.evaluate(&before, err)?;
    let is = context.evaluate_beside(&after, &was, err)?;
    let impact = impact_of((&before.ledger, &before.label()), &was, (&after.ledger, &after.label()), &is)
        .map_err(|missing| context.missing(&after, &missing))?;
    Ok(Drawn {
        stem: String::new(),
        title: format!("From {base} to {}", named(head)),
        impact,
        base: Some(before),
        head: after,
        decision: None,
    })
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
fn judged(context: &Context, loaded: &Loaded) -> Result<(Option<Ledger>, Evaluation, Vec<String>), Failure> {
    let whole = |ledger: &Ledger| evaluate(ledger, context.today);
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
