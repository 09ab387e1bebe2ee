//! What a change does: edits, mass, duties, and what proves them again.

use super::balance::{self, BalanceMove};
use super::budget::{OverBudget, exceeded};
use super::cost::{self, CostMove};
use super::diff::{Change, Edits, diff};
use super::margins::{self, MarginMove};
use super::weaker::{Weaker, weaker};
use crate::article::weigh::{Weigher, counts, programme_mass};
use crate::article::{ArticleError, Face, Subject, expand, joint_subject};
use crate::ledger::Ledger;
use crate::qualify::judge::Reason;
use crate::qualify::retest::{RetestPlan, limits, plan, ways};
use crate::qualify::verdict::{
    Duty, DutyKey, Evaluation, Judged, Verdict, evaluate, evaluate_beside, gravity, note,
};
use crate::record::sensitivity::Asks;
use crate::record::{Day, RecordKind};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Mass of one panel, all counted pieces, before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelDelta {
    /// The panel.
    pub panel: String,
    /// Difference in kg.
    pub delta: f64,
}

/// One duty whose verdict or asks differs.
#[derive(Debug, Clone, PartialEq)]
pub struct DutyRow {
    /// The showing.
    pub showing: String,
    /// The subject now.
    pub subject: Subject,
    /// The subject that it replaces in the same zone or joint.
    pub was_subject: Option<Subject>,
    /// The verdict before; `None` for a new duty.
    pub was: Option<Verdict>,
    /// What it asked before.
    pub was_asks: Option<Asks>,
    /// The verdict now.
    pub now: Verdict,
    /// What it asks now.
    pub asks: Asks,
    /// Why; never empty.
    pub because: Vec<Reason>,
    /// Differences to its own evidence where the nearest is carried over.
    pub own: Vec<Reason>,
    /// The panels that it holds for.
    pub panels: Vec<String>,
}

impl DutyRow {
    /// Returns whether the duty got worse, or is new and not met.
    pub fn is_worse(&self) -> bool {
        // The order of lapsed, short and open among equals names verdicts; it makes nothing worse.
        let weight = |verdict, asks| {
            let (class, asks, _) = gravity(verdict, asks);
            (class, asks)
        };
        let before = self.was.map(|was| weight(was, self.was_asks.unwrap_or_default()));
        // Tests under way that no longer count have to be begun again.
        let lost = self.was == Some(Verdict::Short) && self.now == Verdict::Open;
        !self.now.is_closed() && (lost || before.is_none_or(|before| weight(self.now, self.asks) > before))
    }

    /// Returns whether the duty is still not met, but no worse than before.
    pub fn is_nearer(&self) -> bool {
        !self.now.is_closed() && self.was.is_some() && !self.is_worse()
    }

    /// Returns whether the verdict is another word, but no worse: `open` where `lapsed` stood, say.
    pub fn is_reworded(&self) -> bool {
        self.is_nearer() && self.was != Some(self.now)
    }

    /// Returns whether the duty is met and was open or short, so that it may never have been met before.
    pub fn is_met_now(&self) -> bool {
        self.now == Verdict::Met && matches!(self.was, Some(Verdict::Open | Verdict::Short))
    }

    /// Returns whether the duty is met or conceded again.
    pub fn is_restored(&self) -> bool {
        self.now.is_closed() && self.was.is_some_and(|was| !was.is_closed())
    }
}

/// A panel's own verdict that differs although the duty's does not.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelRow {
    /// The showing.
    pub showing: String,
    /// The subject.
    pub subject: Subject,
    /// The panel.
    pub panel: String,
    /// Before; `None` where nothing of the kind was asked of the panel there.
    pub was: Option<Verdict>,
    /// Now.
    pub now: Verdict,
    /// What it asks now.
    pub asks: Asks,
}

/// What a change does.
#[derive(Debug, Clone)]
pub struct Impact {
    /// What it is compared with.
    pub base: String,
    /// What is compared.
    pub head: String,
    /// There was no ledger before.
    pub is_first: bool,
    /// One paragraph that can be read aloud.
    pub verdict: String,
    /// The edits.
    pub changes: Vec<Change>,
    /// Those of them that ask less than before, or may.
    pub weaker: Vec<Weaker>,
    /// Programme mass before and after, kg.
    pub mass: (f64, f64),
    /// Panels whose mass differs.
    pub panels: Vec<PanelDelta>,
    /// Movable panels whose balance about the hinge differs.
    pub balance: Vec<BalanceMove>,
    /// Groups that are over their budget by more than before.
    pub over: Vec<OverBudget>,
    /// What one aircraft costs, before and after; `None` where nothing is priced.
    pub cost: Option<CostMove>,
    /// Margins that move, by panel and load case.
    pub margins: Vec<MarginMove>,
    /// Duties whose verdict or asks differs.
    pub duties: Vec<DutyRow>,
    /// Verdicts of single panels that differ beside those.
    pub panel_rows: Vec<PanelRow>,
    /// Duties of the base that the head no longer has and that no row names.
    pub ended: Vec<(String, Subject, Verdict)>,
    /// Those of them that are asked of another subject in the same place, with the verdict as before: by
    /// showing and old subject, the new one. To a reader nothing ended there.
    pub renewed: BTreeMap<DutyKey, Subject>,
    /// What proves the new and worse duties again.
    pub retest: RetestPlan,
    /// Assumptions that the change adds.
    pub assumptions: Vec<String>,
    /// Released panels with a duty that their release needs and that is neither met nor conceded now and was before.
    pub grounded: Vec<String>,
}

/// Compares two ledgers.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which there is no answer.
pub fn impact(base: (&Ledger, &str), head: (&Ledger, &str), today: Day) -> Result<Impact, ArticleError> {
    let before = evaluate(base.0, today)?;
    let after = evaluate_beside(head.0, today, &before)?;
    impact_of(base, &before, head, &after)
}

/// Compares two ledgers that are evaluated already.
///
/// # Errors
/// [`ArticleError`] names a record or figure without which there is no answer.
pub fn impact_of(
    base: (&Ledger, &str),
    before: &Evaluation,
    head: (&Ledger, &str),
    after: &Evaluation,
) -> Result<Impact, ArticleError> {
    let Moved { edits, replaced, duties, panel_rows } = moved((base.0, before), (head.0, after))?;
    let renamed_panels = edits.renamed_of(RecordKind::Panel);
    // A duty whose subject only changed its name has not ended; any other that no row names has, by the
    // letter of the format.
    let named: BTreeSet<(&String, &Subject)> =
        duties.iter().filter_map(|row: &DutyRow| Some((&row.showing, row.was_subject.as_ref()?))).collect();
    let kept = |key: &DutyKey| {
        let showing = edits.renamed.get(&(RecordKind::Showing, key.0.clone())).unwrap_or(&key.0);
        let now = (showing.clone(), renamed_subject(&key.1, &edits.renamed));
        now != *key && after.duties.contains_key(&now)
    };
    let ended = before
        .duties
        .iter()
        .filter(|(key, _)| {
            !after.duties.contains_key(*key) && !named.contains(&(&key.0, &key.1)) && !kept(key)
        })
        .map(|(key, duty)| (key.0.clone(), key.1.clone(), duty.verdict()))
        .collect();
    let renewed = replaced
        .iter()
        .filter(|(new, old)| {
            before.duties.contains_key(*old)
                && after.duties.contains_key(*new)
                && !named.contains(&(&old.0, &old.1))
                && !kept(old)
        })
        .map(|(new, old)| (old.clone(), new.1.clone()))
        .collect();
    let worse = worse(&duties, &panel_rows);
    let mut retest = plan(head.0, after, &worse);
    let earlier = |key: &DutyKey| before.duties.get(key).or_else(|| before.duties.get(replaced.get(key)?));
    retest.limits = limits(head.0, after, &worse)?;
    retest.ways = ways(head.0, after, &worse, &earlier, &retest.limits);
    let mass = (mass_of(base.0)?, mass_of(head.0)?);
    let panels = panel_deltas(base.0, head.0, &renamed_panels)?;
    let balance = balance::moves(base.0, head.0, &renamed_panels)?;
    let over = exceeded(base.0, head.0)?;
    let cost = cost::moved(base.0, head.0)?;
    let margins = margins::moves((base.0, before), (head.0, after), &renamed_panels)?;
    // What was only renamed is assumed as before.
    let said = before.assumptions.iter().map(|one| called_now(one, &edits.renamed));
    let known: BTreeSet<Cow<'_, str>> = said.collect();
    let new = after.assumptions.iter().filter(|one| !known.contains(&***one));
    let assumptions = new.map(ToString::to_string).collect();
    let grounded = grounded(head.0, &duties, &panel_rows, after);
    let mut found = Impact {
        base: base.1.to_string(),
        head: head.1.to_string(),
        is_first: base.0.head.is_none() && base.0.panels.is_empty() && base.0.broken.is_empty(),
        verdict: String::new(),
        weaker: weaker(&edits, (base.0, head.0)),
        changes: edits.changes,
        mass,
        panels,
        balance,
        over,
        cost,
        margins,
        duties,
        panel_rows,
        ended,
        renewed,
        retest,
        assumptions,
        grounded,
    };
    found.verdict = super::verdict_paragraph::paragraph(&found, head.0);
    Ok(found)
}

impl Impact {
    /// Returns whether the state after it is worse than the one before in anything that it has to hold: a duty, a released
    /// panel, a budget, a balance.
    pub fn is_worse(&self) -> bool {
        self.duties.iter().any(DutyRow::is_worse)
            || !self.grounded.is_empty()
            || !self.over.is_empty()
            || self.balance.iter().any(BalanceMove::goes_over)
    }
}

/// The verdicts that differ between two states.
pub(super) struct Moved {
    pub(super) edits: Edits,
    /// New duties by the old ones whose place they take.
    pub(super) replaced: BTreeMap<DutyKey, DutyKey>,
    pub(super) duties: Vec<DutyRow>,
    pub(super) panel_rows: Vec<PanelRow>,
}

/// Finds the verdicts that differ.
pub(super) fn moved(
    base: (&Ledger, &Evaluation),
    head: (&Ledger, &Evaluation),
) -> Result<Moved, ArticleError> {
    moved_by(base, head, diff(base.0, head.0))
}

/// As [`moved`], of states whose edits are known already, or that have no record renamed between them: the verdicts
/// need no more of the edits than the names.
pub(super) fn moved_by(
    base: (&Ledger, &Evaluation),
    head: (&Ledger, &Evaluation),
    edits: Edits,
) -> Result<Moved, ArticleError> {
    let (before, after) = (base.1, head.1);
    let renamed_panels = edits.renamed_of(RecordKind::Panel);
    let replaced = replacements(base.0, before, head.0, after, &edits)?;
    let mut duties = Vec::new();
    let mut panel_rows = Vec::new();
    for (key, duty) in &after.duties {
        let old_key = if before.duties.contains_key(key) { Some(key) } else { replaced.get(key) };
        let old = old_key.and_then(|key| before.duties.get(key));
        let (was, was_asks) = (old.map(Duty::verdict), old.map(Duty::asks));
        let (now, asks) = (duty.verdict(), duty.asks());
        if was == Some(now) && was_asks == Some(asks) {
            // What the same place asked before: another subject of the same showing on the same panel.
            let earlier = |panel: &str| {
                let name = renamed_panels
                    .iter()
                    .find(|(_, new)| *new == panel)
                    .map_or(panel, |(old, _)| old.as_str());
                before
                    .duties
                    .values()
                    .filter(|other| {
                        other.showing == duty.showing && other.subject.kind() == duty.subject.kind()
                    })
                    .filter(|other| {
                        !after
                            .duties
                            .get(&(other.showing.clone(), other.subject.clone()))
                            .is_some_and(|now| now.panels.contains_key(panel))
                    })
                    .filter_map(|other| other.panels.get(name))
                    .max_by_key(|judged| judged.gravity())
                    .map(|judged| (judged.verdict, judged.asks))
            };
            panel_rows.extend(own_rows(old, duty, &renamed_panels, &earlier));
            continue;
        }
        let mut because = duty.because();
        if because.is_empty() {
            because.push(note("evidence", now.word(), asks));
        }
        duties.push(DutyRow {
            showing: key.0.clone(),
            subject: key.1.clone(),
            was_subject: old_key.filter(|old| old.1 != key.1).map(|old| old.1.clone()),
            was,
            was_asks,
            now,
            asks,
            because,
            own: duty.own(),
            panels: duty.worst_panels(),
        });
    }
    Ok(Moved { edits, replaced, duties, panel_rows })
}

/// The duties that have to be proved again: new or worse ones, and those that a panel has lost.
pub(super) fn worse(duties: &[DutyRow], panel_rows: &[PanelRow]) -> Vec<DutyKey> {
    duties
        .iter()
        .filter(|row| row.is_worse())
        .map(|row| (row.showing.clone(), row.subject.clone()))
        .chain(
            panel_rows
                .iter()
                .filter(|row| !row.now.is_closed() && row.was.is_none_or(Verdict::is_closed))
                .map(|row| (row.showing.clone(), row.subject.clone())),
        )
        .collect()
}

/// A sentence under the names that its records have now.
fn called_now<'t>(text: &'t str, renamed: &BTreeMap<(RecordKind, String), String>) -> Cow<'t, str> {
    let is_in_id = |c: char| c.is_ascii_alphanumeric() || c == '-';
    let new_of = |word: &str| renamed.iter().find(|((_, old), _)| old == word).map(|(_, new)| new.as_str());
    if renamed.is_empty() || !text.split(|c| !is_in_id(c)).any(|word| new_of(word).is_some()) {
        return Cow::Borrowed(text);
    }
    let words = text.split_inclusive(|c| !is_in_id(c)).map(|run| {
        let word = run.trim_end_matches(|c| !is_in_id(c));
        let rest = run.strip_prefix(word).unwrap_or_default();
        format!("{}{rest}", new_of(word).unwrap_or(word))
    });
    Cow::Owned(words.collect())
}

/// Before the first commit there is no ledger, and nothing weighs nothing.
fn mass_of(ledger: &Ledger) -> Result<f64, ArticleError> {
    if ledger.panels.is_empty() && ledger.assemblies.is_empty() { Ok(0.0) } else { programme_mass(ledger) }
}

/// Verdicts of single panels that differ beside the duty's own; a panel that is new to the duty comes from
/// its verdict on the subject that stood in the same place before.
fn own_rows(
    old: Option<&Duty>,
    duty: &Duty,
    renamed: &BTreeMap<String, String>,
    earlier: &dyn Fn(&str) -> Option<(Verdict, Asks)>,
) -> Vec<PanelRow> {
    let mut rows = Vec::new();
    for (panel, judged) in &*duty.panels {
        let before: Option<&Arc<Judged>> = old.and_then(|old| {
            old.panels.get(panel).or_else(|| {
                let name = renamed.iter().find(|(_, new)| *new == panel).map(|(old, _)| old)?;
                old.panels.get(name)
            })
        });
        let was = match before {
            Some(before) => Some((before.verdict, before.asks)),
            None => earlier(panel),
        };
        if was == Some((judged.verdict, judged.asks)) {
            continue;
        }
        rows.push(PanelRow {
            showing: duty.showing.clone(),
            subject: duty.subject.clone(),
            panel: panel.clone(),
            was: was.map(|(verdict, _)| verdict),
            now: judged.verdict,
            asks: judged.asks,
        });
    }
    rows
}

/// Released panels that lose a duty's cover.
pub(super) fn grounded(
    head: &Ledger,
    duties: &[DutyRow],
    rows: &[PanelRow],
    after: &Evaluation,
) -> Vec<String> {
    let mut all: BTreeSet<String> = BTreeSet::new();
    let rests_on = |panel: &String, duty: &Duty| {
        head.panels.get(panel).is_some_and(|panel| {
            panel.value.released && head.release_needs(&panel.value, duty.needed_by.as_deref())
        })
    };
    for row in duties.iter().filter(|row| row.is_worse()) {
        let Some(duty) = after.duties.get(&(row.showing.clone(), row.subject.clone())) else { continue };
        all.extend(
            duty.panels
                .iter()
                .filter(|(panel, judged)| !judged.verdict.is_closed() && rests_on(panel, duty))
                .map(|(panel, _)| panel.clone()),
        );
    }
    all.extend(
        rows.iter()
            .filter(|row| {
                let duty = after.duties.get(&(row.showing.clone(), row.subject.clone()));
                !row.now.is_closed()
                    && row.was.is_none_or(Verdict::is_closed)
                    && duty.is_some_and(|duty| rests_on(&row.panel, duty))
            })
            .map(|row| row.panel.clone()),
    );
    all.into_iter().collect()
}

fn panel_deltas(
    base: &Ledger,
    head: &Ledger,
    renamed: &BTreeMap<String, String>,
) -> Result<Vec<PanelDelta>, ArticleError> {
    let weigh = |ledger: &Ledger| -> Result<BTreeMap<String, f64>, ArticleError> {
        if ledger.panels.is_empty() {
            return Ok(BTreeMap::new());
        }
        let counts = counts(ledger)?;
        let weigher = Weigher::new(ledger);
        let mut all = BTreeMap::new();
        for panel in ledger.panels.keys() {
            let count = counts.panels.get(panel).map_or(0, |placed| placed.count);
            #[allow(clippy::cast_precision_loss)]
            all.insert(panel.clone(), weigher.panel_mass(panel)? * count as f64);
        }
        Ok(all)
    };
    let (old, new) = (weigh(base)?, weigh(head)?);
    let old: BTreeMap<String, f64> =
        old.into_iter().map(|(id, kg)| (renamed.get(&id).cloned().unwrap_or(id), kg)).collect();
    let names: BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    Ok(names
        .into_iter()
        .map(|panel| PanelDelta {
            panel: panel.clone(),
            delta: new.get(panel).copied().unwrap_or(0.0) - old.get(panel).copied().unwrap_or(0.0),
        })
        // Below a millionth of a gram it is the order of summing, not a change.
        .filter(|row| row.delta.abs() > 1e-9)
        .collect())
}

/// Returns a subject under the names that its records have now.
pub(crate) fn renamed_subject(
    subject: &Subject,
    renamed: &BTreeMap<(RecordKind, String), String>,
) -> Subject {
    let now = |kind: RecordKind, id: &String| {
        renamed.get(&(kind, id.clone())).cloned().unwrap_or_else(|| id.clone())
    };
    let face = |face: &Face| match face {
        Face::Laminate(id) => Face::Laminate(now(RecordKind::Recipe, id)),
        Face::Sheet(id) => Face::Sheet(now(RecordKind::Material, id)),
    };
    match subject {
        Subject::Lamina { material, resin, process } => Subject::Lamina {
            material: now(RecordKind::Material, material),
            resin: resin.as_ref().map(|resin| now(RecordKind::Material, resin)),
            process: now(RecordKind::Process, process),
        },
        Subject::Laminate(recipe) => Subject::Laminate(now(RecordKind::Recipe, recipe)),
        Subject::Painted(recipe, finish) => Subject::Painted(
            now(RecordKind::Recipe, recipe),
            finish.as_ref().map(|finish| now(RecordKind::Finish, finish)),
        ),
        Subject::Bond { adhesive, process, faces } => {
            let [one, two] = &**faces;
            Subject::bond(
                &now(RecordKind::Material, adhesive),
                &now(RecordKind::Process, process),
                face(one),
                face(two),
            )
        }
        Subject::Sheet(material, thickness) => {
            Subject::Sheet(now(RecordKind::Material, material), thickness.clone())
        }
        Subject::Panel(panel) => Subject::Panel(now(RecordKind::Panel, panel)),
        Subject::Programme => Subject::Programme,
    }
}

/// One place where a subject sits: the panel, and the zone or joint in it.
type Site = (String, String);

/// Pairs duties of the base that are gone with duties of the head that are new in the same place; a
/// showing or a panel that only changed its name is the same one.
pub fn replacements(
    base: &Ledger,
    before: &Evaluation,
    head: &Ledger,
    after: &Evaluation,
    edits: &Edits,
) -> Result<BTreeMap<DutyKey, DutyKey>, ArticleError> {
    let gone: Vec<&DutyKey> = before.duties.keys().filter(|key| !after.duties.contains_key(*key)).collect();
    let come: Vec<&DutyKey> = after.duties.keys().filter(|key| !before.duties.contains_key(*key)).collect();
    if gone.is_empty() || come.is_empty() {
        return Ok(BTreeMap::new());
    }
    let showings = edits.renamed_of(RecordKind::Showing);
    let now_called = |showing: &String| showings.get(showing).unwrap_or(showing).clone();
    let old_sites = sites(base, &edits.renamed_of(RecordKind::Panel))?;
    let new_sites = sites(head, &BTreeMap::new())?;
    let mut pairs: BTreeMap<DutyKey, DutyKey> = BTreeMap::new();
    let mut taken: BTreeSet<&DutyKey> = BTreeSet::new();
    // A subject that stays under a showing of another name.
    for old in &gone {
        let same = |new: &&&DutyKey| new.1 == old.1 && new.0 == now_called(&old.0);
        if let Some(new) = come.iter().find(same) {
            pairs.insert((*new).clone(), (*old).clone());
            taken.insert(*old);
        }
    }
    let come_showings: BTreeSet<&String> = come.iter().map(|key| &key.0).collect();
    for showing in come_showings {
        let old: BTreeMap<&Subject, &DutyKey> =
            gone.iter().filter(|key| now_called(&key.0) == *showing).map(|key| (&key.1, *key)).collect();
        let new: BTreeMap<&Subject, &DutyKey> =
            come.iter().filter(|key| key.0 == *showing).map(|key| (&key.1, *key)).collect();
        if old.is_empty() || new.is_empty() {
            continue;
        }
        for (site, subjects) in &new_sites {
            let Some(olds) = old_sites.get(site) else { continue };
            // Subjects of one kind in order of first use from the tool face.
            let left =
                olds.iter().filter_map(|subject| old.get(subject)).filter(|key| !taken.contains(**key));
            let right = subjects.iter().filter_map(|subject| new.get(subject));
            let left: Vec<&&DutyKey> = left.collect();
            let right: Vec<&&DutyKey> = right.filter(|key| !pairs.contains_key(**key)).collect();
            for (old, new) in left.into_iter().zip(right) {
                if old.1.kind() == new.1.kind() {
                    pairs.insert((**new).clone(), (**old).clone());
                    taken.insert(*old);
                }
            }
        }
    }
    Ok(pairs)
}

/// Subjects by place, in order of first use.
fn sites(
    ledger: &Ledger,
    renamed: &BTreeMap<String, String>,
) -> Result<BTreeMap<Site, Vec<Subject>>, ArticleError> {
    let mut all: BTreeMap<Site, Vec<Subject>> = BTreeMap::new();
    for panel in ledger.panels.values() {
        let name = renamed.get(&panel.id).unwrap_or(&panel.id);
        let mut add = |place: String, subject: Subject| {
            let list = all.entry((name.clone(), place)).or_default();
            if !list.contains(&subject) {
                list.push(subject);
            }
        };
        add(String::new(), Subject::Panel(panel.id.clone()));
        for zone in &panel.value.zones {
            let place = format!("zone {}", zone.name);
            if let Some(sheet) = &zone.sheet {
                add(
                    place.clone(),
                    Subject::Sheet(sheet.material.id().to_string(), sheet.thickness.canonical("mm")),
                );
            }
            let Some(recipe) = zone.recipe.as_ref().and_then(|recipe| ledger.recipes.get(recipe.id())) else {
                continue;
            };
            let finish = zone.finish.as_ref().map(|finish| finish.id().to_string());
            add(place.clone(), Subject::Laminate(recipe.id.clone()));
            add(place.clone(), Subject::Painted(recipe.id.clone(), finish));
            for layer in expand(ledger, recipe)? {
                if layer.role != crate::article::LayerRole::Ply {
                    continue;
                }
                let dry = layer.material.value.kind == crate::record::MaterialKind::Fabric;
                let resin =
                    recipe.value.resin.as_ref().filter(|_| dry).map(|own| own.material.id().to_string());
                add(
                    place.clone(),
                    Subject::Lamina {
                        material: layer.material.id.clone(),
                        resin,
                        process: recipe.value.process.id().to_string(),
                    },
                );
            }
        }
        for joint in &panel.value.joints {
            if let Some(subject) = joint_subject(&panel.value, joint) {
                add(format!("joint {}", joint.name), subject);
            }
        }
    }
    Ok(all)
}
