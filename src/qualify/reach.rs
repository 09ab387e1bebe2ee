//! Which subjects a choice of panels uses, found from the panels.

use crate::article::{Sites, Subject, Uses};
use foldhash::HashMap;
use litemap::LiteMap;

/// Subjects in use, in their order, and the way to them from the panels that use them.
#[derive(Default)]
pub(super) struct Reach<'a> {
    all: Vec<(&'a Subject, &'a LiteMap<String, Sites>)>,
    by_panel: HashMap<&'a str, Vec<usize>>,
    /// Those that no panel uses, such as the programme.
    unused: Vec<usize>,
}

impl<'a> Reach<'a> {
    pub(super) fn of(uses: &'a Uses) -> Self {
        let mut reach = Self::default();
        for (at, (subject, panels)) in uses.iter().enumerate() {
            reach.all.push((subject, panels));
            for panel in panels.keys() {
                reach.by_panel.entry(panel).or_default().push(at);
            }
            if panels.is_empty() {
                reach.unused.push(at);
            }
        }
        reach
    }

    /// Returns the subjects of a kind that one of the panels uses, and those that none uses, in their order.
    pub(super) fn subjects<'p>(
        &self,
        kind: &str,
        panels: impl Iterator<Item = &'p str>,
    ) -> impl Iterator<Item = (&'a Subject, &'a LiteMap<String, Sites>)> {
        let used = panels.filter_map(|panel| self.by_panel.get(panel)).flatten();
        let is_of_kind = |at: &&usize| self.all.get(**at).is_some_and(|(own, _)| own.kind().word() == kind);
        let mut places: Vec<usize> = used.chain(&self.unused).filter(is_of_kind).copied().collect();
        places.sort_unstable();
        places.dedup();
        places.into_iter().filter_map(|at| self.all.get(at).copied())
    }
}
