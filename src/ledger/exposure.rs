//! Words for exposure: what a panel sees and what was tested meet by their words alone, so that one that is mistyped meets
//! nothing.

use super::Ledger;
use super::head::is_slip_within;
use super::known::entry;
use super::sink::Sink;
use crate::record::{Exposure, Text};
use std::collections::{BTreeMap, BTreeSet};

/// What a word speaks of, with the words that have a meaning of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Sort {
    Zone,
    Lightning,
    Fluid,
    Moisture,
}

impl Sort {
    fn words(self) -> &'static [&'static str] {
        match self {
            Self::Zone => &["indoor", "bay", "outdoor"],
            // SAE ARP5414 / EUROCAE ED-91.
            Self::Lightning => &["1A", "1B", "1C", "2A", "2B", "3"],
            Self::Fluid => &[],
            Self::Moisture => &["as-fabricated", "equilibrium"],
        }
    }
}

/// A word that is none of those, where it stands.
struct Said<'l> {
    sort: Sort,
    word: &'l str,
    file: &'l str,
    at: String,
}

/// Above so many words of a sort they are not held against one another: a ledger that somebody sent may have any number.
const MANY: usize = 200;

/// Whether a word is most likely another one mistyped: words of exposure are few and short.
fn is_like(word: &str, other: &str) -> bool {
    const SHORT: usize = 4;
    let letters = word.chars().count().max(other.chars().count());
    let reach = if letters < SHORT { 0 } else { (letters / 5).max(1) };
    word.eq_ignore_ascii_case(other) || is_slip_within(word, other, reach)
}

/// Finds lightning zones that are none, and words of exposure that are written almost like a known one, or like one that
/// more records say: a duty of theirs is covered by nothing, or not asked at all.
pub(super) fn words(ledger: &Ledger) -> Vec<Sink> {
    let said = said(ledger);
    let mut files: BTreeMap<(Sort, &str), BTreeSet<&str>> = BTreeMap::new();
    for one in &said {
        files.entry((one.sort, one.word)).or_default().insert(one.file);
    }
    let mut words: BTreeMap<Sort, usize> = BTreeMap::new();
    for (sort, _) in files.keys() {
        *words.entry(*sort).or_default() += 1;
    }
    let many: Vec<Sort> = words.into_iter().filter(|(_, n)| *n > MANY).map(|(sort, _)| sort).collect();
    let mut sinks: BTreeMap<&str, Sink> = BTreeMap::new();
    for one in &said {
        let sink = || Sink::new(one.file);
        let own = |word: &&&str| word.eq_ignore_ascii_case(one.word);
        let folded = one.sort.words().iter().find(own).map(|word| (*word).to_string());
        if one.sort == Sort::Lightning {
            let all = one.sort.words().join(", ");
            let message = format!("`{}` is no lightning zone", one.word);
            sinks
                .entry(one.file)
                .or_insert_with(sink)
                .warning("odd-exposure", one.at.clone(), message)
                .label("covered by itself alone")
                .help(match folded {
                    Some(word) => format!("write `{word}`"),
                    None => format!(
                        "write one of {all}: of another word nothing is known but that it is that one"
                    ),
                });
            continue;
        }
        let like = |word: &&str| is_like(one.word, word);
        let standard = folded.or_else(|| one.sort.words().iter().copied().find(like).map(str::to_string));
        // Of two words that nobody knows the one that more records say is meant.
        let times = |word: &str| files.get(&(one.sort, word)).map_or(0, BTreeSet::len);
        let of_sort = || files.keys().filter(|(sort, _)| *sort == one.sort).map(|(_, word)| *word);
        let said_more = || {
            let others = of_sort().filter(|word| times(word) > times(one.word) || times(one.word) == 1);
            others.filter(|word| *word != one.word).find(like).map(str::to_string)
        };
        let are_many = many.contains(&one.sort);
        let known = standard.or_else(|| if are_many { None } else { said_more() });
        let Some(other) = known else { continue };
        let message = format!("`{}` is written almost like `{other}`", one.word);
        sinks
            .entry(one.file)
            .or_insert_with(sink)
            .warning("odd-exposure", one.at.clone(), message)
            .label("another word")
            .help(format!("did you mean `{other}`? Words of exposure meet by their spelling"));
    }
    sinks.into_values().collect()
}

fn said(ledger: &Ledger) -> Vec<Said<'_>> {
    let mut all = Vec::new();
    for panel in ledger.panels.values() {
        of_exposure(&mut all, &panel.file, "exposure", panel.value.exposure.as_ref());
        for (index, zone) in panel.value.zones.iter().enumerate() {
            of_exposure(&mut all, &panel.file, &entry("zones", index, "exposure"), zone.exposure.as_ref());
        }
    }
    for showing in ledger.showings.values() {
        let exposure = showing.value.applies_to.as_ref().and_then(|applies| applies.exposure.as_ref());
        of_exposure(&mut all, &showing.file, "applies_to.exposure", exposure);
        let moisture = showing.value.environment.as_ref().and_then(|own| own.moisture.as_ref());
        add(&mut all, &showing.file, Sort::Moisture, "environment.moisture".to_string(), moisture);
    }
    for evidence in ledger.evidence.values() {
        let Some(tested) = &evidence.value.tested else { continue };
        for (sort, key, word) in [
            (Sort::Zone, "zone", &tested.zone),
            (Sort::Lightning, "lightning", &tested.lightning),
            (Sort::Moisture, "moisture", &tested.moisture),
        ] {
            add(&mut all, &evidence.file, sort, format!("tested.{key}"), word.as_ref());
        }
        let fluids = tested.fluids.iter().flatten().enumerate();
        for (index, fluid) in fluids {
            add(&mut all, &evidence.file, Sort::Fluid, entry("tested.fluids", index, ""), Some(fluid));
        }
    }
    all
}

fn of_exposure<'l>(all: &mut Vec<Said<'l>>, file: &'l str, at: &str, exposure: Option<&'l Exposure>) {
    let Some(exposure) = exposure else { return };
    for (sort, key, word) in [
        (Sort::Zone, "zone", &exposure.zone),
        (Sort::Lightning, "lightning", &exposure.lightning),
        (Sort::Moisture, "moisture", &exposure.moisture),
    ] {
        add(all, file, sort, format!("{at}.{key}"), word.as_ref());
    }
    for (index, fluid) in exposure.fluids.iter().enumerate() {
        add(all, file, Sort::Fluid, entry(&format!("{at}.fluids"), index, ""), Some(fluid));
    }
}

fn add<'l>(all: &mut Vec<Said<'l>>, file: &'l str, sort: Sort, at: String, word: Option<&'l Text>) {
    let own = word.map(|word| word.as_str()).filter(|word| !sort.words().contains(word));
    all.extend(own.map(|word| Said { sort, word, file, at }));
}
