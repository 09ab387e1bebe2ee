//! Names in keys: attributes, letters and scopes, each held once, so that they are cheap to copy and compare.

use super::key::ORDER;
use foldhash::HashMap;
use std::cmp::Ordering;
use std::fmt;
use std::ops::Deref;
use std::sync::{OnceLock, PoisonError, RwLock};

/// An attribute, a letter or a scope.
///
/// Each text is held once and for as long as the program runs: ledgers bring few that the canonical form
/// doesn't know, such as the names of load cases. Two names are equal exactly where their texts are, and
/// they are in the order of their texts.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Name(
    /// Place in the table of words: configurations hold names by the hundred thousand.
    u32,
);

struct Word {
    text: &'static str,
    /// Place among the attributes of the canonical form; behind all of them for any other.
    place: usize,
    facet: &'static str,
}

impl Word {
    fn of(text: &'static str) -> Self {
        let load = text.starts_with("geometry.load.");
        let place = ORDER.iter().position(|one| *one == text || load && *one == "geometry.load");
        let place = place.unwrap_or(ORDER.len());
        Self { text, place, facet: text.split('.').next().unwrap_or(text) }
    }
}

/// Constituents of one role, zones and joints that are known beforehand.
const COUNT: usize = 40;

/// Words that are known beforehand, in the order of their texts, and where each is.
struct Known {
    words: Vec<Word>,
    places: HashMap<&'static str, u32>,
}

fn known() -> &'static Known {
    static KNOWN: OnceLock<Known> = OnceLock::new();
    KNOWN.get_or_init(|| {
        let mut all: Vec<&'static str> = ORDER.to_vec();
        all.push("");
        let mut numbered = |letter: &str, first: usize| {
            all.extend((first..=COUNT).map(|at| &*format!("{letter}{at}").leak()));
        };
        ["a", "c", "f", "m", "o", "s"].iter().for_each(|letter| numbered(letter, 2));
        ["z", "j", "x"].iter().for_each(|letter| numbered(letter, 1));
        all.extend(["a", "c", "f", "m", "o", "s"]);
        all.sort_unstable();
        let words = all.iter().map(|text| Word::of(text)).collect();
        Known { words, places: (0..).zip(all).map(|(place, text)| (text, place)).collect() }
    })
}

/// Words that are not known beforehand, in the order in which they came. They are whole after every step on them, so what
/// a panicking thread left behind serves as well.
#[derive(Default)]
struct Further {
    words: Vec<&'static Word>,
    places: HashMap<&'static str, u32>,
}

fn further() -> &'static RwLock<Further> {
    static FURTHER: OnceLock<RwLock<Further>> = OnceLock::new();
    FURTHER.get_or_init(RwLock::default)
}

fn keep(text: &str) -> u32 {
    let mut all = further().write().unwrap_or_else(PoisonError::into_inner);
    // Another thread may have been quicker.
    if let Some(place) = all.places.get(text) {
        return *place;
    }
    let text: &'static str = text.to_string().leak();
    // Four thousand million names fill the memory before their numbers end.
    let place = u32::try_from(known().words.len() + all.words.len()).unwrap_or(u32::MAX);
    all.words.push(Box::leak(Box::new(Word::of(text))));
    all.places.insert(text, place);
    place
}

impl Name {
    /// Returns the name of a text.
    pub fn new(text: &str) -> Self {
        Self::borne(text).unwrap_or_else(|| Self(keep(text)))
    }

    /// Returns the name of a text that is known beforehand.
    pub(super) fn known(text: &str) -> Option<Self> {
        known().places.get(text).copied().map(Self)
    }

    /// Returns the name of a text if anything bears it yet; unlike [`Name::new`] it keeps nothing.
    pub(super) fn borne(text: &str) -> Option<Self> {
        Self::known(text).or_else(|| {
            let further = further().read().unwrap_or_else(PoisonError::into_inner);
            further.places.get(text).copied().map(Self)
        })
    }

    fn word(self) -> &'static Word {
        let place = usize::try_from(self.0).unwrap_or(usize::MAX);
        let known = &known().words;
        if let Some(word) = known.get(place) {
            return word;
        }
        let further = further().read().unwrap_or_else(PoisonError::into_inner);
        // Every name was made from its place in one of the two.
        further.words.get(place - known.len()).copied().unwrap_or(Self::default().word())
    }

    /// Returns the text.
    pub fn as_str(self) -> &'static str {
        self.word().text
    }

    /// Returns the part before the first dot: the facet that an attribute belongs to.
    pub fn facet(self) -> &'static str {
        self.word().facet
    }

    /// Returns the place among the attributes of the canonical form; all loads share one, and what is no
    /// attribute stands behind.
    pub fn place(self) -> usize {
        self.word().place
    }
}

impl Default for Name {
    fn default() -> Self {
        static EMPTY: OnceLock<Name> = OnceLock::new();
        *EMPTY.get_or_init(|| Self::new(""))
    }
}

impl From<&str> for Name {
    fn from(text: &str) -> Self {
        Self::new(text)
    }
}

impl Deref for Name {
    type Target = str;
    fn deref(&self) -> &str {
        self.word().text
    }
}

impl Ord for Name {
    fn cmp(&self, other: &Self) -> Ordering {
        // Those that are known stand in the order of their texts.
        let known = known().words.len();
        let is_known = |name: &Self| usize::try_from(name.0).is_ok_and(|place| place < known);
        if self.0 == other.0 || is_known(self) && is_known(other) {
            self.0.cmp(&other.0)
        } else {
            self.word().text.cmp(other.word().text)
        }
    }
}

impl PartialOrd for Name {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq<str> for Name {
    fn eq(&self, other: &str) -> bool {
        self.word().text == other
    }
}

impl PartialEq<&str> for Name {
    fn eq(&self, other: &&str) -> bool {
        self.word().text == *other
    }
}

impl PartialEq<String> for Name {
    fn eq(&self, other: &String) -> bool {
        self.word().text == other
    }
}

impl PartialEq<Name> for str {
    fn eq(&self, other: &Name) -> bool {
        self == other.word().text
    }
}

impl PartialEq<Name> for String {
    fn eq(&self, other: &Name) -> bool {
        self == other.word().text
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word().text)
    }
}

impl fmt::Debug for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.word().text, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_order_and_read_as_their_texts_do() {
        let mut texts: Vec<&str> = known().places.keys().copied().collect();
        assert_eq!(Name::default(), "");
        assert!(texts.contains(&"a") && texts.contains(&"a2") && texts.contains(&"z1"));
        assert!(!texts.contains(&"a1"), "the first of its role has no number");
        texts.extend(["a41", "geometry.load.rail", "zz", "A", "cure.zeal", "äußere"]);
        for one in &texts {
            assert_eq!(Name::new(one).as_str(), *one);
            for two in &texts {
                assert_eq!(Name::new(one).cmp(&Name::new(two)), one.cmp(two), "{one} {two}");
                assert_eq!(Name::new(one) == Name::new(two), one == two);
            }
        }
    }

    #[test]
    fn threads_share_one_name() {
        let names: Vec<Name> = std::thread::scope(|scope| {
            let all: Vec<_> = (0..8).map(|_| scope.spawn(|| Name::new("geometry.load.gust"))).collect();
            all.into_iter().map(|one| one.join().expect("no panic")).collect()
        });
        assert!(names.iter().all(|name| *name == Name::new("geometry.load.gust")));
    }

    #[test]
    fn places_are_those_of_the_canonical_form() {
        assert_eq!(Name::new("fibre.name").place(), 0);
        assert_eq!(Name::new("geometry.load.gust").place(), Name::new("geometry.load").place());
        assert_eq!(Name::new("no such").place(), ORDER.len());
        assert_eq!(Name::new("resin-content.route").facet(), "resin-content");
    }
}
