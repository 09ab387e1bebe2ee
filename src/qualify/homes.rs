//! Whose lapse a lapse is: what was never recorded for a subject is open, not lapsed.

use super::delta::compare;
use super::extension::BASELINE;
use super::made::Made;
use super::touched::Touched;
use super::verdict::{Duty, InForm, Judged, Room, Verdict, note};
use crate::article::{Configuration, Face, Subject};
use crate::ledger::Entry;
use crate::record::sensitivity::Asks;
use crate::record::{Evidence, EvidenceState};
use foldhash::HashMap;
use std::collections::BTreeSet;
use std::sync::Arc;
use thin_vec::thin_vec;

/// The subjects that a showing is asked of and those among them that its records belong to.
#[derive(Debug, Clone)]
pub(super) struct Homes {
    subjects: Vec<Subject>,
    homes: BTreeSet<Subject>,
    /// Panels that are such subjects, or that records are labelled with.
    panels: BTreeSet<String>,
    /// Whether the programme is, which all panels are a part of.
    is_of_programme: bool,
}

impl Homes {
    /// Whether they are those of the same subjects in a state beside the one where they were found, where the same
    /// records speak for them and nothing but some panels differs.
    fn still_hold(&self, duties: &[Duty], touched: &Touched) -> bool {
        // Without a panel a lamina is what all recipes make of it.
        touched.is_panels_alone
            && !self.is_of_programme
            && self.panels.is_disjoint(&touched.panels)
            && self.subjects.iter().eq(duties.iter().map(|duty| &duty.subject))
    }
}

impl Room<'_> {
    /// Turns `lapsed` into `open` where the nearest evidence never was this subject's; `before` is whose the records were
    /// in a state where they were the same, with what differs.
    pub(super) fn assign_lapses<'r>(
        &'r self,
        duties: &mut [Duty],
        candidates: InForm<'_, 'r>,
        before: Option<(&Homes, &Touched)>,
    ) -> Option<Homes> {
        let unsure: Vec<usize> = duties
            .iter()
            .enumerate()
            .filter(|(_, duty)| duty.panels.values().any(|judged| is_full_lapse(judged)))
            .map(|(at, _)| at)
            .collect();
        let known = before.filter(|(homes, touched)| homes.still_hold(duties, touched));
        let known = known.map(|(homes, _)| homes.clone());
        if unsure.is_empty() {
            // What does not hold any more must not be taken over from here either.
            return known;
        }
        let found = known.unwrap_or_else(|| self.find_homes(duties, candidates()));
        for at in unsure {
            let Some(duty) = duties.get_mut(at) else { continue };
            if found.homes.contains(&duty.subject) {
                continue;
            }
            for (_, judged) in
                Arc::make_mut(&mut duty.panels).iter_mut().filter(|(_, judged)| is_full_lapse(judged))
            {
                self.open(&duty.subject, Arc::make_mut(judged));
            }
        }
        Some(found)
    }

    /// Says of a lapse of what was never recorded for the subject that it is open.
    fn open(&self, subject: &Subject, judged: &mut Judged) {
        let label =
            |entry: &&&Entry<Evidence>| Subject::from_label(&entry.value.subject).as_ref() == Some(subject);
        let is_unconformed = |entry: &&&Entry<Evidence>| {
            entry.value.state == EvidenceState::Done && entry.value.conformed.is_none()
        };
        let unconformed: Vec<&str> =
            self.records.iter().filter(label).filter(is_unconformed).map(|entry| entry.id.as_str()).collect();
        let is_begun = !judged.under_way.is_empty() || !unconformed.is_empty();
        judged.verdict = if is_begun { Verdict::Short } else { Verdict::Open };
        let near = judged.evidence.join(", ");
        let what = match unconformed.as_slice() {
            [] if is_begun => "nothing finished is recorded for it".to_string(),
            [] => "nothing recorded for it".to_string(),
            own => format!(
                "{} {} finished and not conformed, so that {} not count yet: `bondline conform {}`",
                own.join(", "),
                if own.len() == 1 { "is" } else { "are" },
                if own.len() == 1 { "it does" } else { "they do" },
                own.join(" ")
            ),
        };
        let words = format!("{what}; the nearest is {near}");
        judged.nearest =
            std::mem::replace(&mut judged.because, thin_vec![note("evidence", &words, Asks::Retest)]);
    }

    fn find_homes(&self, duties: &[Duty], candidates: &[Made<'_>]) -> Homes {
        let mut plain: HashMap<Subject, Configuration> = HashMap::default();
        let labels = candidates.iter().filter_map(|made| made.label.as_ref());
        for subject in labels.chain(duties.iter().map(|duty| &duty.subject)) {
            if !plain.contains_key(subject)
                && let Ok(configuration) = self.configurator.configuration(subject, None)
            {
                plain.insert(subject.clone(), configuration);
            }
        }
        let mut equal: HashMap<&Configuration, Vec<&Subject>> = HashMap::default();
        for duty in duties.iter() {
            if let Some(configuration) = plain.get(&duty.subject) {
                equal.entry(configuration).or_default().push(&duty.subject);
            }
        }
        let homes = candidates.iter().flat_map(|made| self.homes(made, duties, &plain, &equal)).collect();
        let labels = candidates.iter().filter_map(|made| made.label.as_ref());
        let subjects: Vec<Subject> = duties.iter().map(|duty| duty.subject.clone()).collect();
        let panel = |subject: &Subject| match subject {
            Subject::Panel(panel) => Some(panel.clone()),
            _ => None,
        };
        Homes {
            panels: labels.clone().chain(&subjects).filter_map(panel).collect(),
            is_of_programme: labels.chain(&subjects).any(|subject| *subject == Subject::Programme),
            subjects,
            homes,
        }
    }

    /// The subjects in use that a record belongs to.
    fn homes(
        &self,
        made: &Made<'_>,
        duties: &[Duty],
        plain: &HashMap<Subject, Configuration>,
        equal: &HashMap<&Configuration, Vec<&Subject>>,
    ) -> BTreeSet<Subject> {
        let mut homes = BTreeSet::new();
        if let Some(label) = made.label.as_ref().filter(|label| self.is_in_use(label)) {
            homes.insert(label.clone());
            let twins = plain.get(label).and_then(|own| equal.get(own));
            homes.extend(twins.into_iter().flatten().map(|twin| (*twin).clone()));
            return homes;
        }
        // Among those equally near, what bears more of the names on the label is the same under another name.
        let named = made.label.as_ref().map(names).unwrap_or_default();
        let mut nearest: Option<(usize, usize)> = None;
        for duty in duties {
            let Some(configuration) = plain.get(&duty.subject) else { continue };
            let Some(article) = made.articles.first() else { continue };
            let deltas = compare(configuration, article);
            let differing =
                deltas.all.iter().filter(|delta| !matches!(delta.key.facet(), "tool" | "claims")).count();
            let strange = names(&duty.subject).iter().filter(|name| !named.contains(*name)).count();
            let count = (differing + deltas.more, strange);
            match nearest {
                Some(least) if count > least => {}
                Some(least) if count == least => {
                    homes.insert(duty.subject.clone());
                }
                _ => {
                    nearest = Some(count);
                    homes = BTreeSet::from([duty.subject.clone()]);
                }
            }
        }
        homes
    }
}

/// The records that a subject names.
fn names(subject: &Subject) -> Vec<String> {
    match subject {
        Subject::Lamina { material, resin, process } => {
            [material, process].into_iter().chain(resin).cloned().collect()
        }
        Subject::Laminate(one) | Subject::Panel(one) | Subject::Sheet(one, _) => vec![one.clone()],
        Subject::Painted(recipe, finish) => std::iter::once(recipe).chain(finish).cloned().collect(),
        Subject::Bond { adhesive, process, faces } => {
            let faces = faces.iter().map(|face| match face {
                Face::Laminate(id) | Face::Sheet(id) => id,
            });
            [adhesive, process].into_iter().chain(faces).cloned().collect()
        }
        Subject::Programme => Vec::new(),
    }
}

/// Whether the nearest evidence differs so far that only a whole test leads back; that it is no baseline is another
/// matter.
fn is_full_lapse(judged: &Judged) -> bool {
    let mut differences = judged.because.iter().filter(|reason| reason.attribute != BASELINE);
    judged.verdict == Verdict::Lapsed
        && judged.asks == Asks::Retest
        && differences.any(|reason| reason.effect == Asks::Retest)
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{example, today};
    use super::super::verdict::{Evaluation, evaluate, evaluate_beside};
    use super::*;
    use crate::ledger::{Ledger, MemoryRecall};
    use crate::source::Snapshot;

    /// Showings that know whose their records are.
    fn known(evaluation: &Evaluation) -> BTreeSet<&str> {
        let all = evaluation.grounds.showings.iter().filter(|(_, ground)| ground.homes.is_some());
        all.map(|(id, _)| id.as_str()).collect()
    }

    #[test]
    fn homes_are_handed_on_where_panels_alone_differ_and_not_beyond() {
        let recall = MemoryRecall::new();
        let read = |edits: &[(&str, &str, &str)]| {
            let mut files = example();
            for (path, from, to) in edits {
                let text = String::from_utf8(files[*path].clone()).unwrap();
                assert!(text.contains(from), "{path}");
                files.insert((*path).to_string(), text.replacen(from, to, 1).into_bytes());
            }
            Ledger::load(&Snapshot::in_memory(files), &recall)
        };
        let rich = ("materials/cw-200-e1.yaml", "39.5 %", "45.5 %");
        let panel = ("panels/bow-hatch.yaml", "title: ", "title: The same, ");
        let (plain, lapsed) = (read(&[]), read(&[rich]));
        let first = evaluate(&lapsed, today()).unwrap();
        let panels_alone = evaluate_beside(&read(&[rich, panel]), today(), &first).unwrap();
        assert_eq!(known(&panels_alone), known(&first));
        let back = evaluate_beside(&plain, today(), &first).unwrap();
        let alone = evaluate(&plain, today()).unwrap();
        // Some have nothing lapsed any more, and would hand on what another material was nearest to.
        assert!(known(&first).difference(&known(&alone)).next().is_some(), "{:?}", known(&first));
        assert_eq!(known(&back), known(&alone));
    }
}
