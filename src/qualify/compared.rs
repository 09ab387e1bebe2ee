//! Candidates compared with one subject as one panel uses it: no further than a verdict needs.

use super::coverage::{Coverage, Demand};
use super::delta::{AsMade, compare, plain, stacked_otherwise};
use super::judge::{Detail, Reason};
use super::live::W9;
use super::made::Made;
use super::sieve::Look;
use super::verdict::Room;
use crate::article::{Configuration, Key, Limit, Name, Subject};
use crate::record::sensitivity::Asks;
use crate::record::{LoadPath, Phrase};
use std::borrow::Cow;
use std::sync::{Arc, OnceLock};
use thin_vec::ThinVec;

/// How many candidates that all ask for a retest are looked through for the nearest, those first that differ
/// in least at first look: nothing but the words hangs on which of them is named. Where a concession names the duty it is
/// said what of the nearest it does not cover, so there all are looked through.
const NEAREST: usize = 8;

/// What one panel asks of a subject, as it is now.
pub(super) struct Asked<'a> {
    pub(super) subject: &'a Subject,
    pub(super) configuration: &'a Configuration,
    pub(super) demand: &'a Demand,
    /// How loads run through the panel, which says what basis its values have.
    pub(super) load_path: Option<LoadPath>,
    /// What window w9 says of the panel, where anything is computed for it.
    pub(super) w9: Option<&'a W9<'a>>,
}

impl Asked<'_> {
    /// Returns the skin temperature on the ramp that the panel asks of, in kelvin.
    pub(super) fn ramp(&self) -> Option<f64> {
        self.demand.ramp.as_ref().map(|(ramp, _)| *ramp)
    }
}

/// One candidate as one configuration sees it.
pub(super) struct Sight {
    /// What it asks at least, at first look.
    pub(super) at_least: Asks,
    /// Whether what no pairing decides was judged for that.
    pub(super) is_plain_judged: bool,
    /// What its differences ask, article by article, once somebody looked.
    pub(super) seen: Option<Vec<Arc<Seen>>>,
}

/// What the differences between what is now and one article ask.
pub(super) struct Seen {
    /// With what is allowed only where that is asked for.
    reasons: Vec<Reason>,
    /// What was not recorded when it was conformed.
    not_recorded: Vec<Key>,
    /// What was unstated then.
    unstated: Vec<Key>,
    /// Both in words, once somebody reads them.
    notes: OnceLock<Vec<Phrase>>,
}

impl Seen {
    /// The same with other reasons.
    fn with(&self, reasons: Vec<Reason>) -> Self {
        let (not_recorded, unstated) = (self.not_recorded.clone(), self.unstated.clone());
        Self { reasons, not_recorded, unstated, notes: OnceLock::new() }
    }

    fn notes(&self, id: &str, form: u32) -> &[Phrase] {
        self.notes.get_or_init(|| {
            let not_recorded = self.not_recorded.iter().map(|key| not_recorded_note(id, form, key));
            let unstated = |key: &Key| format!("evidence/{id} was conformed with {key} unstated").into();
            not_recorded.chain(self.unstated.iter().map(unstated)).collect()
        })
    }
}

/// One candidate compared with what is now and with what one panel asks.
#[derive(Clone)]
pub(super) struct Compared<'c> {
    id: &'c str,
    /// The form that it was conformed in.
    form: u32,
    /// What it asks; at least, where it is unseen.
    pub(super) asks: Asks,
    /// How many reasons it has.
    pub(super) count: usize,
    seen: Option<Arc<Seen>>,
    covered: Vec<Reason>,
    not_recorded: Vec<String>,
}

impl<'c> Compared<'c> {
    fn at_first_look(made: &'c Made<'_>, asks: Asks) -> Self {
        let (seen, covered, not_recorded) = (None, Vec::new(), Vec::new());
        Self { id: &made.entry.id, form: made.form(), asks, count: 0, seen, covered, not_recorded }
    }

    /// Compares by the article that asks least, the first of equals; `covered` is what is asked whichever it is.
    fn of_nearest(
        made: &'c Made<'_>,
        seen: &[Arc<Seen>],
        covered: Vec<Reason>,
        not_recorded: Vec<String>,
    ) -> Self {
        let weight = |reasons: &[Reason]| {
            let asking = reasons.iter().map(|reason| reason.effect).filter(|effect| *effect > Asks::None);
            (asking.clone().max().unwrap_or_default(), asking.count())
        };
        let more = weight(&covered);
        let nearest = seen
            .iter()
            .map(|one| (weight(&one.reasons), one))
            .map(|((asks, count), one)| ((asks.max(more.0), count + more.1), one))
            .min_by_key(|(weight, _)| *weight);
        let Some(((asks, count), seen)) = nearest else { return Self::at_first_look(made, Asks::Retest) };
        let (seen, form) = (Some(Arc::clone(seen)), made.form());
        Self { id: &made.entry.id, form, asks, count, seen, covered, not_recorded }
    }

    /// Returns the record.
    pub(super) fn id(&self) -> &'c str {
        self.id
    }

    /// Returns whether its differences were not worked out.
    pub(super) fn is_unseen(&self) -> bool {
        self.seen.is_none()
    }

    fn pick(&self, which: impl Fn(&Reason) -> bool) -> ThinVec<Reason> {
        let seen = self.seen.iter().flat_map(|seen| &seen.reasons);
        let picked = seen.chain(&self.covered).filter(|reason| which(reason));
        picked.map(|reason| Reason { evidence: Some(self.id.into()), ..reason.clone() }).collect()
    }

    /// Returns what asks anything.
    pub(super) fn reasons(&self) -> ThinVec<Reason> {
        self.pick(|reason| reason.effect > Asks::None)
    }

    /// Returns the differences that were allowed, where they were asked for.
    pub(super) fn allowed(&self) -> ThinVec<Reason> {
        self.pick(|reason| reason.effect == Asks::None)
    }
}

impl Room<'_> {
    /// Compares every candidate as far as the verdict needs.
    ///
    /// What asks anything at first look does not conform; its differences are worked out only where they
    /// count or a reader sees them: on the subject's own evidence, on a baseline that an extension leans on,
    /// and where nothing conforms, to find the nearest.
    pub(super) fn compare_all<'c>(
        &self,
        asked: &Asked<'_>,
        candidates: &'c [Made<'c>],
        (now, sights): (&Look, &mut [Sight]),
    ) -> Vec<Compared<'c>> {
        let is_own = |made: &Made<'_>| made.label.as_ref() == Some(asked.subject);
        let mut all: Vec<Compared<'_>> = candidates
            .iter()
            .zip(sights.iter_mut())
            .map(|(made, sight)| {
                let own = is_own(made);
                if !own && sight.at_least == Asks::None && !sight.is_plain_judged {
                    sight.at_least = self.plain_at_least(asked, made, now);
                    sight.is_plain_judged = true;
                }
                if !own && sight.at_least > Asks::None {
                    Compared::at_first_look(made, sight.at_least)
                } else {
                    self.compare(asked, made, sight)
                }
            })
            .collect();
        let leant_on = baselines(candidates, &all, |one| one.asks == Asks::None);
        self.see(asked, candidates, sights, &mut all, &leant_on);
        if all.iter().all(|compared| compared.asks > Asks::None) {
            self.find_nearest(asked, candidates, (now, sights), &mut all);
        }
        all
    }

    /// Works out the differences of some candidates.
    fn see<'c>(
        &self,
        asked: &Asked<'_>,
        candidates: &'c [Made<'c>],
        sights: &mut [Sight],
        all: &mut [Compared<'c>],
        which: &[usize],
    ) {
        for at in which {
            if let (Some(made), Some(sight), Some(compared)) =
                (candidates.get(*at), sights.get_mut(*at), all.get_mut(*at))
                && compared.is_unseen()
            {
                *compared = self.compare(asked, made, sight);
            }
        }
    }

    /// Works out the differences of those of the candidates that do not conform from which the shortest way may lead back,
    /// with those of what they extend.
    pub(super) fn find_nearest<'c>(
        &self,
        asked: &Asked<'_>,
        candidates: &'c [Made<'c>],
        (now, sights): (&Look, &mut [Sight]),
        all: &mut [Compared<'c>],
    ) {
        let is_own = |made: &Made<'_>| made.label.as_ref() == Some(asked.subject);
        // What leads back for least; what is of another subject stands behind what is the subject's own.
        let leant_on = baselines(candidates, all, |one| !one.is_unseen() && one.asks < Asks::Retest);
        self.see(asked, candidates, sights, all, &leant_on);
        let way = |all: &[Compared<'_>], at: usize| {
            let differs = |one: &Compared<'_>| !one.is_unseen() && one.asks > Asks::None;
            let (made, one) = candidates.get(at).zip(all.get(at)).filter(|(_, one)| differs(one))?;
            Some((self.way_back(asked, (made, one), (candidates, all)), !is_own(made)))
        };
        let mut best = (0..all.len()).filter_map(|at| way(all, at)).min();
        // What is unseen is of another, and can only be the nearest where it may ask less than that.
        let may_be_nearest =
            |best: Option<(Asks, bool)>, asks: Asks| best.is_none_or(|best| (asks, true) <= best);
        for at in places(all, |one| one.is_unseen() && one.asks < Asks::Retest) {
            if all.get(at).is_some_and(|one| may_be_nearest(best, one.asks)) {
                let base = candidates.get(at).and_then(|made| baseline(candidates, made));
                let both: Vec<usize> = [at].into_iter().chain(base).collect();
                self.see(asked, candidates, sights, all, &both);
                best = best.into_iter().chain(both.into_iter().filter_map(|at| way(all, at))).min();
            }
        }
        if all.iter().all(|compared| compared.asks == Asks::Retest) && may_be_nearest(best, Asks::Retest) {
            let mut some = places(all, |one| one.is_unseen());
            if self.concessions(asked.subject).next().is_none() {
                let far = |at: &usize| candidates.get(*at).map(|made| made.distance(now));
                some.sort_by_cached_key(far);
                some.truncate(NEAREST);
            }
            self.see(asked, candidates, sights, all, &some);
        }
    }

    /// What a candidate asks at least for what no pairing of constituents decides.
    fn plain_at_least(&self, asked: &Asked<'_>, made: &Made<'_>, now: &Look) -> Asks {
        // Everything is compared where both must be the same.
        if self.sieve.is_blind() || self.is_foreign(asked.subject, asked.configuration, made) {
            return Asks::None;
        }
        let of = |(article, look): (&AsMade, &Look)| {
            if !look.is_single_as(now) {
                return Asks::None;
            }
            let judge = || {
                let deltas = plain(asked.configuration, article, |name| self.rules.is_plain(name));
                self.rules.most(asked.configuration, article, &deltas)
            };
            // What else was tested, and what was measured, has a say in how far a difference may go.
            let alone = article.others.is_empty() && article.measured.is_empty();
            let least = if alone { self.sieve.plain_once(now, look, judge) } else { judge() };
            if look.is_stacked_otherwise(now) && self.rules.is_plain(Name::new("plies")) {
                let deltas = stacked_otherwise(asked.configuration, article);
                return least.max(self.rules.most(asked.configuration, article, &deltas));
            }
            least
        };
        made.articles.iter().zip(&made.looks).map(of).min().unwrap_or_default()
    }

    /// Compares with every article of the evidence; the one that asks least speaks.
    pub(super) fn compare<'c>(
        &self,
        asked: &Asked<'_>,
        made: &'c Made<'_>,
        sight: &mut Sight,
    ) -> Compared<'c> {
        let (seen, covered, not_recorded) = self.differences(asked, made, sight);
        Compared::of_nearest(made, &seen, covered, not_recorded)
    }

    /// As [`Room::compare`], as if some differences were none; those are told beside it.
    pub(super) fn compare_without<'c>(
        &self,
        asked: &Asked<'_>,
        made: &'c Made<'_>,
        sight: &mut Sight,
        is_accepted: &dyn Fn(&Reason) -> bool,
    ) -> (Compared<'c>, ThinVec<Reason>) {
        let (all, covered, not_recorded) = self.differences(asked, made, sight);
        let is_set_aside = |reason: &Reason| reason.effect > Asks::None && is_accepted(reason);
        let rest = |reasons: &[Reason]| -> Vec<Reason> {
            reasons.iter().filter(|reason| !is_set_aside(reason)).cloned().collect()
        };
        let without = |one: &Arc<Seen>| match one.reasons.iter().any(is_set_aside) {
            true => Arc::new(one.with(rest(&one.reasons))),
            false => Arc::clone(one),
        };
        let seen: Vec<Arc<Seen>> = all.iter().map(without).collect();
        let compared = Compared::of_nearest(made, &seen, rest(&covered), not_recorded);
        let is_it = |one: &Arc<Seen>| compared.seen.as_ref().is_some_and(|own| Arc::ptr_eq(own, one));
        let own = seen.iter().position(is_it).and_then(|at| all.get(at));
        let own = own.into_iter().flat_map(|one| &one.reasons).chain(&covered);
        let told = |reason: &Reason| Reason { evidence: Some(compared.id.into()), ..reason.clone() };
        let set_aside = own.filter(|reason| is_set_aside(reason)).map(told).collect();
        (compared, set_aside)
    }

    /// Works out what the differences to each article ask, and what the panel asks beyond what was tested; with that
    /// which is not recorded of it.
    fn differences<'s>(
        &self,
        asked: &Asked<'_>,
        made: &Made<'_>,
        sight: &'s mut Sight,
    ) -> (Cow<'s, [Arc<Seen>]>, Vec<Reason>, Vec<String>) {
        let seen = &*sight.seen.get_or_insert_with(|| self.look(asked, made));
        let coverage = Coverage {
            id: &self.showing.id,
            showing: &self.showing.value,
            row: self.row,
            own: self.showing.value.own_steps(),
        };
        let mut covered = coverage.requirement(&made.tested);
        let (by_panel, not_recorded) = coverage.panel(&made.tested, asked.demand);
        covered.extend(by_panel);
        let settled: Option<Vec<Arc<Seen>>> = asked.w9.map(|w9| {
            let one = |(seen, article): (&Arc<Seen>, &AsMade)| match w9.settle(
                self.row,
                asked.subject,
                &seen.reasons,
                (article, made.entry),
            ) {
                Some(reasons) => Arc::new(seen.with(reasons)),
                None => Arc::clone(seen),
            };
            seen.iter().zip(made.articles.iter()).map(one).collect()
        });
        (settled.map_or(Cow::Borrowed(seen), Cow::Owned), covered, not_recorded)
    }

    fn look(&self, asked: &Asked<'_>, made: &Made<'_>) -> Vec<Arc<Seen>> {
        let kind = asked.subject.kind().word();
        let whole = self.is_foreign(asked.subject, asked.configuration, made);
        let judged = |article| {
            let deltas = compare(asked.configuration, article);
            // Where another panel's must be the same in every own attribute, what is allowed counts too.
            let detail = if whole { Detail::Allowed } else { self.detail };
            let mut reasons = self.rules.judge(asked.configuration, article, &deltas, detail);
            if whole {
                for reason in &mut reasons {
                    if reason.effect < Asks::Retest {
                        reason.effect = Asks::Retest;
                        reason.rule =
                            format!("{}: carries over only between equal subjects", self.showing.value.kind)
                                .into();
                    }
                }
            }
            let has = |key: &Key| self.row.has_facet(kind, key.facet());
            let (mut not_recorded, mut unstated) = (deltas.not_recorded, deltas.unstated);
            not_recorded.retain(|key| key.facet() == "claims" || has(key));
            unstated.retain(has);
            Arc::new(Seen { reasons, not_recorded, unstated, notes: OnceLock::new() })
        };
        made.articles.iter().map(judged).collect()
    }

    /// Returns whether evidence is of another panel than the subject, or of another subject where the row
    /// asks for the very same, which counts only where both are the same in every own attribute.
    pub(super) fn is_foreign(&self, subject: &Subject, now: &Configuration, made: &Made<'_>) -> bool {
        let Some(label) = made.label.as_ref().filter(|label| *label != subject) else { return false };
        // What is in use no more may be this one under its old name, and is judged by the rows; where no cell
        // says what may differ, as long as no constituent does.
        self.rules.is_whole()
            && (self.is_in_use(label)
                || (self.row.whole && !made.articles.iter().any(|article| is_made_of_the_same(now, article))))
    }

    /// Returns what had to be assumed of a candidate.
    pub(super) fn notes(
        &self,
        subject: &Subject,
        (made, compared): (&Made<'_>, &Compared<'_>),
    ) -> ThinVec<Phrase> {
        let Some(seen) = &compared.seen else { return ThinVec::new() };
        let kind = subject.kind().word();
        let demanded = compared.not_recorded.iter().map(|key| Key::parse(key)).filter(|key| {
            let has = key.facet() == "claims" || self.row.has_facet(kind, key.facet());
            has && key.limit == Limit::Nominal
        });
        let demanded = demanded.map(|key| not_recorded_note(compared.id, compared.form, &key));
        // Another than one of these is not in the mark by which a verdict is found again.
        let leant_on = made.entry.value.baseline.as_ref();
        let leant_on = leant_on.and_then(|base| self.records.iter().find(|entry| entry.id == base.id()));
        let both = [made.entry].into_iter().chain(leant_on.copied());
        let altered = both.filter(|entry| self.ledger.is_altered(entry));
        let altered = altered.map(|entry| {
            format!("evidence/{}: its data are no longer the bytes that were conformed", entry.id).into()
        });
        seen.notes(compared.id, compared.form).iter().cloned().chain(demanded).chain(altered).collect()
    }
}

/// Whether two articles differ only in how, where and how richly they were made.
fn is_made_of_the_same(now: &Configuration, article: &AsMade) -> bool {
    const MADE: [&str; 7] = ["resin-content", "cure", "out-time", "site", "tool", "environment", "claims"];
    let deltas = compare(now, article);
    deltas.more == 0 && deltas.all.iter().all(|delta| MADE.contains(&delta.key.facet()))
}

fn not_recorded_note(id: &str, form: u32, key: &Key) -> Phrase {
    format!("evidence/{id} does not record {key} (form {form}): nothing is asked for it").into()
}

/// Where what a candidate extends stands among them, if that is one.
pub(super) fn baseline(candidates: &[Made<'_>], of: &Made<'_>) -> Option<usize> {
    let named = of.entry.value.baseline.as_ref()?;
    candidates.iter().position(|one| one.entry.id == named.id())
}

fn baselines(
    candidates: &[Made<'_>],
    all: &[Compared<'_>],
    which: impl Fn(&Compared<'_>) -> bool,
) -> Vec<usize> {
    places(all, which).into_iter().filter_map(|at| baseline(candidates, candidates.get(at)?)).collect()
}

fn places(all: &[Compared<'_>], which: impl Fn(&Compared<'_>) -> bool) -> Vec<usize> {
    all.iter().enumerate().filter(|(_, one)| which(one)).map(|(at, _)| at).collect()
}

/// Counts the candidates that ask anything at first look, and names those of them that the whole comparison
/// asks less of; there may be none.
#[cfg(test)]
pub(super) fn first_looks(
    ledger: &crate::ledger::Ledger,
) -> Result<(usize, Vec<String>), crate::article::ArticleError> {
    use super::demands::{Demands, Used};
    use super::extension::Fits;
    use super::sieve::Sieve;
    use super::table::Table;
    use super::verdict::rules;
    use crate::article::{Configurator, uses};
    let uses = uses(ledger)?;
    let configurator = Configurator::new(ledger);
    let table = Table::built_in().expect("the table is sound");
    let demands = Demands::all(ledger, &configurator, &uses, None, None)?;
    let reach = super::reach::Reach::of(&uses);
    let (mut sure, mut wrong) = (0, Vec::new());
    for showing in ledger.showings.values() {
        let row = &table.kinds[showing.value.kind.as_str()];
        let records: Vec<_> =
            ledger.evidence.values().filter(|one| one.value.showing.id() == showing.id).collect();
        let (configurator, uses, demands) = (&configurator, &uses, &demands);
        for (subject, Used { variants, demand, .. }) in demands.iter() {
            let kind = subject.kind().word();
            if row.subject_of(&showing.value) != kind {
                continue;
            }
            let rules = rules(showing, row, kind);
            let sieve = Sieve::of(&rules);
            let (sieve, detail, records, reach) = (&sieve, Detail::Verdicts, &records, &reach);
            let room = Room {
                ledger,
                configurator,
                uses,
                reach,
                demands,
                showing,
                row,
                records,
                rules: &&rules,
                sieve: &sieve,
                forms: None,
                detail,
                live: None,
                only: None,
                fits: Fits::default(),
                conceding: Vec::new(),
            };
            for made in room.candidates() {
                for configuration in variants.iter() {
                    let now = room.sieve.look(configuration);
                    let asked = Asked { subject, configuration, demand, load_path: None, w9: None };
                    let at_least = made.at_least(&now, room.is_foreign(subject, configuration, &made));
                    let at_least = at_least.max(room.plain_at_least(&asked, &made, &now));
                    if at_least == Asks::None {
                        continue;
                    }
                    sure += 1;
                    let whole = room.compare(
                        &asked,
                        &made,
                        &mut Sight { at_least, is_plain_judged: true, seen: None },
                    );
                    if whole.asks < at_least {
                        wrong.push(format!("{} {subject}: {}", showing.id, made.entry.id));
                    }
                }
            }
        }
    }
    Ok((sure, wrong))
}
