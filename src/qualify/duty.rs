//! What is said of a duty: the verdict for each panel, what it asks, and why.

use super::judge::Reason;
use super::pool::Completeness;
use crate::article::Subject;
use crate::record::Phrase;
use crate::record::sensitivity::Asks;
use litemap::LiteMap;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::sync::Arc;
use thin_vec::{ThinVec, thin_vec};

/// What is known of a duty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Verdict {
    /// Finished evidence conforms and covers, the sample is whole, the criterion holds.
    Met,
    /// Not met, and a live concession covers exactly what is missing.
    Conceded,
    /// It conforms, but more is needed.
    Short,
    /// Finished evidence, none conforming any more.
    Lapsed,
    /// Nothing recorded.
    Open,
    /// Conforming evidence shows that the criterion does not hold.
    Failed,
}

impl Verdict {
    /// All, what stands first.
    pub const ALL: [Self; 6] =
        [Self::Met, Self::Conceded, Self::Short, Self::Lapsed, Self::Open, Self::Failed];

    /// Returns the verdict of a word.
    pub fn by_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|own| own.word() == word)
    }

    /// Returns the word.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Met => "met",
            Verdict::Conceded => "conceded",
            Verdict::Short => "short",
            Verdict::Lapsed => "lapsed",
            Verdict::Open => "open",
            Verdict::Failed => "failed",
        }
    }

    /// Returns whether nothing stands in the way of a release.
    pub fn is_closed(self) -> bool {
        matches!(self, Verdict::Met | Verdict::Conceded)
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// The verdict for one panel, with everything behind it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// The verdict.
    pub verdict: Verdict,
    /// What it asks.
    pub asks: Asks,
    /// Why; never empty.
    pub because: ThinVec<Reason>,
    /// Where the panel has several articles of the subject, such as two joints: why those that are no graver
    /// are not met either.
    pub others: ThinVec<(Verdict, ThinVec<Reason>)>,
    /// Where the nearest evidence is carried over: the differences to this subject's own evidence.
    pub own: ThinVec<Reason>,
    /// Where nothing was ever recorded for it: how the nearest evidence differs.
    pub nearest: ThinVec<Reason>,
    /// Differences that were allowed, with the rule that allows each; empty where they were not asked for.
    pub allowed: ThinVec<Reason>,
    /// Evidence that counts, or that came nearest.
    pub evidence: ThinVec<Phrase>,
    /// Evidence that was recorded for another subject, among `evidence`.
    pub carried_over: ThinVec<Phrase>,
    /// Planned or running records.
    pub under_way: ThinVec<Phrase>,
    /// Those of them that were conformed already and differ from what is asked now.
    pub behind: ThinVec<Behind>,
    /// What the criterion came to, in words.
    pub criterion: Option<Phrase>,
    /// What the sample lacks.
    pub lacks: Completeness,
    /// What had to be assumed.
    pub assumptions: ThinVec<Phrase>,
    /// What becomes of it where a concession that names the duty is granted, for each by itself.
    pub granted: ThinVec<Granted>,
}

/// A verdict as it would be if the differences that a concession covers were none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Granted {
    /// The concession.
    pub concession: Phrase,
    /// What is missing still, in words.
    pub further: ThinVec<Phrase>,
    /// The verdict where it is met so, with the differences that were set aside as its reasons.
    pub judged: Option<Box<Judged>>,
}

/// Evidence under way whose article is no longer what is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Behind {
    /// The record.
    pub evidence: Phrase,
    /// What it would ask if it were finished.
    pub asks: Asks,
    /// Why.
    pub because: ThinVec<Reason>,
}

impl Judged {
    /// Returns the verdict of a duty that nothing was ever recorded for.
    pub fn open() -> Self {
        Self {
            verdict: Verdict::Open,
            asks: Asks::Retest,
            because: ThinVec::new(),
            others: ThinVec::new(),
            own: ThinVec::new(),
            nearest: ThinVec::new(),
            allowed: ThinVec::new(),
            evidence: ThinVec::new(),
            carried_over: ThinVec::new(),
            under_way: ThinVec::new(),
            behind: ThinVec::new(),
            criterion: None,
            lacks: Completeness::default(),
            assumptions: ThinVec::new(),
            granted: ThinVec::new(),
        }
    }

    /// Returns whether evidence counts, or came nearest.
    pub fn has_evidence(&self, id: &str) -> bool {
        self.evidence.iter().any(|own| own == id)
    }

    /// Returns whether evidence of it was recorded for another subject.
    pub fn is_carried_over(&self, id: &str) -> bool {
        self.carried_over.iter().any(|own| own == id)
    }

    /// Gives back the room that lists took to grow: there is one of these for each panel and duty.
    pub(super) fn without_spare_room(mut self) -> Self {
        // Every field is named, so that one that is added is thought of here.
        let Self {
            verdict: _,
            asks: _,
            because,
            others,
            own,
            nearest,
            allowed,
            evidence,
            carried_over,
            under_way,
            behind,
            criterion: _,
            lacks,
            assumptions,
            granted,
        } = &mut self;
        granted.shrink_to_fit();
        for one in granted.iter_mut() {
            one.further.shrink_to_fit();
            if let Some(judged) = one.judged.as_deref_mut() {
                *judged = std::mem::replace(judged, Self::open()).without_spare_room();
            }
        }
        others.shrink_to_fit();
        behind.shrink_to_fit();
        lacks.lacks.shrink_to_fit();
        let others = others.iter_mut().map(|(_, because)| because);
        let behind = behind.iter_mut().map(|one| &mut one.because);
        let own = [because, own, nearest, allowed];
        own.into_iter().chain(others).chain(behind).for_each(ThinVec::shrink_to_fit);
        let phrases = [evidence, carried_over, under_way, assumptions];
        phrases.into_iter().for_each(ThinVec::shrink_to_fit);
        self
    }

    /// Returns what orders verdicts from mild to grave.
    pub fn gravity(&self) -> (u8, Asks, u8) {
        gravity(self.verdict, self.asks)
    }
}

/// Returns what orders verdicts from mild to grave: the class, what is asked, and lapsed before short
/// before open among equals.
pub fn gravity(verdict: Verdict, asks: Asks) -> (u8, Asks, u8) {
    let class = match verdict {
        Verdict::Met => 0,
        Verdict::Conceded => 1,
        Verdict::Failed => 3,
        _ => 2,
    };
    let tie = match verdict {
        Verdict::Lapsed => 2,
        Verdict::Short => 1,
        _ => 0,
    };
    (class, asks, tie)
}

/// One duty: a showing on a subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Duty {
    /// The showing's id.
    pub showing: String,
    /// The subject.
    pub subject: Subject,
    /// Verdicts by panel; one under the empty name for the whole programme. Shared with what was judged before anything
    /// was laid over them.
    pub panels: Arc<LiteMap<String, Arc<Judged>>>,
    /// The milestone that needs it.
    pub needed_by: Option<String>,
}

impl Duty {
    /// Returns the gravest verdict of its panels.
    pub fn worst(&self) -> Option<(&String, &Arc<Judged>)> {
        // The first of equals, so that the answer does not depend on chance.
        self.panels.iter().rev().max_by_key(|(_, judged)| judged.gravity())
    }

    /// Returns the verdict.
    pub fn verdict(&self) -> Verdict {
        self.worst().map_or(Verdict::Open, |(_, judged)| judged.verdict)
    }

    /// Returns what it asks.
    pub fn asks(&self) -> Asks {
        self.worst().map_or(Asks::Retest, |(_, judged)| judged.asks)
    }

    /// Returns the panels whose own verdict is the worst one.
    pub fn worst_panels(&self) -> Vec<String> {
        let Some((_, worst)) = self.worst() else { return Vec::new() };
        let gravity = worst.gravity();
        self.panels
            .iter()
            .filter(|(name, judged)| !name.is_empty() && judged.gravity() == gravity)
            .map(|(name, _)| name.clone())
            .collect()
    }

    /// Returns why, with the panels named that share the reason.
    pub fn because(&self) -> Vec<Reason> {
        self.reasons(|judged| &judged.because)
    }

    /// Returns the differences to this subject's own evidence, where the nearest is carried over.
    pub fn own(&self) -> Vec<Reason> {
        self.reasons(|judged| &judged.own)
    }

    fn reasons(&self, pick: impl Fn(&Judged) -> &ThinVec<Reason>) -> Vec<Reason> {
        let mut all: Vec<Reason> = Vec::new();
        for panel in self.worst_panels() {
            let Some(judged) = self.panels.get(&panel) else { continue };
            for reason in pick(judged) {
                match all.iter_mut().find(|known| {
                    known.attribute == reason.attribute
                        && known.was == reason.was
                        && known.is == reason.is
                        && known.rule == reason.rule
                        && known.evidence == reason.evidence
                }) {
                    Some(known) => known.panels.push(panel.clone()),
                    None => all.push(Reason { panels: thin_vec![panel.clone()], ..reason.clone() }),
                }
            }
        }
        if all.is_empty()
            && let Some((_, judged)) = self.worst()
        {
            all.extend(pick(judged).iter().cloned());
        }
        all
    }
}

/// A showing and a subject.
pub type DutyKey = (String, Subject);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::qualify::verdict::note;

    fn grown() -> ThinVec<Reason> {
        let mut all = ThinVec::new();
        all.push(note("evidence", "nothing recorded", Asks::Retest));
        all
    }

    #[test]
    fn no_list_of_a_verdict_keeps_room_to_spare_and_all_come_back_as_they_were_kept() {
        let mut judged = Judged { because: grown(), nearest: grown(), own: grown(), ..Judged::open() };
        assert!(judged.because.capacity() > 1, "one that is grown has room for more");
        judged.others.push((Verdict::Short, grown()));
        judged.behind.push(Behind { evidence: "e-2".into(), asks: Asks::Retest, because: grown() });
        judged.evidence.push("e-1".into());
        judged.assumptions.push("figures are assumed".into());
        let met = Judged { because: grown(), ..Judged::open() };
        let mut further = ThinVec::new();
        further.push("sample: 1 of 2 specimens".into());
        judged.granted.push(Granted { concession: "c-1".into(), further, judged: Some(Box::new(met)) });
        judged.lacks.lacks.push("5 of 18 specimens".to_string());
        // A copy has no room to spare, so what is grown itself goes in.
        let before = judged.clone();
        let slim = judged.without_spare_room();
        assert_eq!(slim, before);
        let lists = [&slim.because, &slim.nearest, &slim.own, &slim.others[0].1, &slim.behind[0].because];
        assert!(lists.iter().all(|list| list.capacity() == 1));
        assert_eq!((slim.evidence.capacity(), slim.assumptions.capacity()), (1, 1));
        let granted = &slim.granted[0];
        let inner = granted.judged.as_ref().unwrap();
        assert_eq!(
            (slim.granted.capacity(), granted.further.capacity(), inner.because.capacity()),
            (1, 1, 1)
        );
        assert_eq!((slim.others.capacity(), slim.behind.capacity(), slim.lacks.lacks.capacity()), (1, 1, 1));
        for kept in [slim, Judged::open()] {
            let bytes = postcard::to_stdvec(&kept).unwrap();
            assert_eq!(postcard::from_bytes::<Judged>(&bytes).unwrap(), kept);
        }
    }
}
