//! Reasons behind a verdict: as JSON, and as rows in which equal reasons are said once.

use super::page::{Page, count};
use crate::qualify::judge::Reason;
use crate::qualify::verdict::Verdict;
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};
use std::cmp::Reverse;

/// Reasons shown of one duty.
const REASONS_SHOWN: usize = 6;
/// Duties named below the one that they share their reasons with.
const SAME_SHOWN: usize = 5;
/// Panels named in a row.
const PANELS_SHOWN: usize = 8;

/// Returns reasons in the shape of `because`, sorted.
pub(crate) fn reasons_json(reasons: &[Reason]) -> Vec<Value> {
    let mut sorted: Vec<&Reason> = reasons.iter().collect();
    sorted.sort();
    let one = |reason: &&Reason| {
        let mut panels: Vec<&String> = reason.panels.iter().collect();
        panels.sort();
        json!({
            "attribute": reason.attribute,
            "was": reason.was,
            "is": reason.is,
            "effect": reason.effect.to_string(),
            "rule": reason.rule,
            "source": reason.source,
            "evidence": reason.evidence,
            "panels": panels,
        })
    };
    sorted.iter().map(one).collect()
}

/// Returns a reason as a sentence: what differs, what it asks, by which rule, from which source.
pub(crate) fn reason_words(reason: &Reason) -> String {
    let mut parts = vec![reason.difference(" → ")];
    if reason.effect > Asks::None {
        parts.push(format!("asks {}", reason.effect));
    }
    if !reason.rule.is_empty() {
        parts.push(format!("rule: {}", reason.rule));
    }
    if !reason.source.is_empty() {
        parts.push(format!("source: {}", reason.source));
    }
    if let Some(evidence) = &reason.evidence {
        parts.push(format!("against evidence/{evidence}"));
    }
    parts.join("; ")
}

/// Returns names in a row, long lists cut with a count.
pub(crate) fn names(names: &[String], page: &Page<'_>, most: usize) -> String {
    let shown = page.frame.shown(names.len(), most);
    let mut text = names.iter().take(shown).map(String::as_str).collect::<Vec<_>>().join(", ");
    if shown < names.len() {
        text.push_str(&format!(" and {} more", names.len() - shown));
    }
    text
}

/// One duty as a row with its reasons.
pub(crate) struct Block<'a> {
    pub(crate) verdict: Verdict,
    pub(crate) showing: &'a str,
    pub(crate) subject: String,
    /// What else there is to say of it, equal in all duties that are said together.
    pub(crate) facts: Vec<String>,
    pub(crate) panels: &'a [String],
    pub(crate) because: &'a [Reason],
    pub(crate) own: &'a [Reason],
    /// What closes it; equal in all duties that are said together.
    pub(crate) closes: Vec<String>,
}

impl Block<'_> {
    /// Equal in everything but names, panels and the evidence compared with.
    fn says_as(&self, other: &Self) -> bool {
        let same = |one: &[Reason], two: &[Reason]| {
            let key = |reason: &Reason| {
                (
                    reason.attribute.clone(),
                    reason.was.clone(),
                    reason.is.clone(),
                    reason.effect,
                    reason.rule.clone(),
                    reason.source.clone(),
                )
            };
            one.len() == two.len() && one.iter().zip(two).all(|(one, two)| key(one) == key(two))
        };
        self.verdict == other.verdict
            && self.facts == other.facts
            && self.closes == other.closes
            && same(self.because, other.because)
            && same(self.own, other.own)
    }
}

/// Writes duties; those that say the same are folded into the first of them.
pub(crate) fn write_blocks(page: &mut Page<'_>, blocks: &[Block<'_>], most: usize, noun: &str) {
    let mut groups: Vec<Vec<&Block<'_>>> = Vec::new();
    for block in blocks {
        match groups.iter_mut().find(|group| group.first().is_some_and(|first| first.says_as(block))) {
            Some(group) if !page.frame.all => group.push(block),
            _ => groups.push(vec![block]),
        }
    }
    let shown = page.frame.shown(groups.len(), most);
    for group in groups.iter().take(shown) {
        if let Some((first, same)) = group.split_first() {
            write_block(page, first, same);
        }
    }
    let left: usize = groups.iter().skip(shown).map(Vec::len).sum();
    if left > 0 {
        page.paragraph(&format!("… and {}; --all shows them", more(left, noun)));
    }
}

fn more(n: usize, noun: &str) -> String {
    let counted = count(n, noun);
    counted.replacen(' ', " more ", 1)
}

fn write_block(page: &mut Page<'_>, block: &Block<'_>, same: &[&Block<'_>]) {
    page.verdict(block.verdict, &format!("{} {}", block.showing, block.subject));
    let mut facts = block.facts.clone();
    if !block.panels.is_empty() {
        let word = if block.panels.len() == 1 { "panel" } else { "panels" };
        facts.push(format!("{word} {}", names(block.panels, page, PANELS_SHOWN)));
    }
    if !facts.is_empty() {
        page.hang("    ", "    ", &facts.join("; "));
    }
    write_reasons(page, block.because);
    if !block.own.is_empty() {
        page.hang("    ", "    ", "against its own evidence:");
        write_reasons(page, block.own);
    }
    for closes in &block.closes {
        page.hang("    = ", "      ", closes);
    }
    if !same.is_empty() {
        let shown = page.frame.shown(same.len(), SAME_SHOWN);
        page.hang("    ", "    ", &format!("and {} for the same reason:", more(same.len(), "duty")));
        for one in same.iter().take(shown) {
            page.hang("      ", "        ", &format!("{} {}", one.showing, one.subject));
        }
        if shown < same.len() {
            page.hang("      ", "        ", &format!("… {} more", same.len() - shown));
        }
    }
}

/// Writes reasons as indented lines.
pub(crate) fn write_reasons(page: &mut Page<'_>, reasons: &[Reason]) {
    let shown = page.frame.shown(reasons.len(), REASONS_SHOWN);
    // What decides is never folded away, nor what a concession has to do with it.
    let mut gravest: Vec<(usize, &Reason)> = reasons.iter().enumerate().collect();
    gravest.sort_by_key(|(_, reason)| (reason.attribute != "concession", Reverse(reason.effect)));
    gravest.truncate(shown);
    gravest.sort_by_key(|(at, _)| *at);
    for (_, reason) in gravest {
        page.hang("    - ", "      ", &reason_words(reason));
    }
    if shown < reasons.len() {
        page.hang("    - ", "      ", &format!("… {}", more(reasons.len() - shown, "reason")));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::qualify::verdict::note;
    use crate::report::page::Frame;

    #[test]
    fn what_decides_is_not_folded_away() {
        let mut reasons: Vec<Reason> =
            (0..8).map(|at| note(&format!("a{at}"), "differs", Asks::Analysis)).collect();
        reasons.push(note("decides", "differs", Asks::Retest));
        reasons.push(note("concession", "concession/c does not cover decides", Asks::None));
        let frame = Frame::default();
        let mut page = Page::new(&frame);
        write_reasons(&mut page, &reasons);
        let text = page.finish();
        assert!(text.contains("- decides") && text.contains("- concession"), "{text}");
        assert!(text.contains("- a3") && !text.contains("- a4") && text.contains("4 more reasons"), "{text}");
    }
}
