//! Configurations: what a subject is by value, attribute by attribute.

use super::key::{Key, Limit};
use super::name::Name;
use crate::record::once::{Known, once, sort_rows};
use crate::record::{AttributeValue, Attributes};
use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::sync::Arc;

/// Version of the canonical form that this program writes.
pub const FORM: u32 = 1;

/// One attribute with its value.
pub type Row = (Key, AttributeValue);

/// The rows of one constituent within one scope, or of none: never empty, and held once for many configurations,
/// which say the same of the same materials.
type Block = Arc<[Row]>;

/// A flat map of attributes, in the order of their keys: scope by scope, and in each letter by letter.
#[derive(Clone, Default)]
pub struct Configuration {
    /// As they are put together; none where there are blocks.
    rows: Vec<Row>,
    /// As they are kept, in the same order. Which of both ways it is says nothing of what they are.
    blocks: Option<Arc<[Block]>>,
}

impl fmt::Debug for Configuration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        struct All<'a>(&'a Configuration);
        impl fmt::Debug for All<'_> {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.debug_list().entries(self.0.attributes()).finish()
            }
        }
        // A field that is added has to be in it: marks go by what is said here.
        let Self { rows: _, blocks: _ } = self;
        f.debug_struct("Configuration").field("rows", &All(self)).finish()
    }
}

impl PartialEq for Configuration {
    fn eq(&self, other: &Self) -> bool {
        match (&self.blocks, &other.blocks) {
            (None, None) => self.rows == other.rows,
            (Some(one), Some(two)) => {
                let same = |(one, two): (&Block, &Block)| Arc::ptr_eq(one, two) || one == two;
                Arc::ptr_eq(one, two) || one.len() == two.len() && one.iter().zip(two.iter()).all(same)
            }
            _ => self.attributes().eq(other.attributes()),
        }
    }
}

impl Eq for Configuration {}

impl Hash for Configuration {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.attributes().for_each(|row| row.hash(state));
    }
}

impl FromIterator<Row> for Configuration {
    /// Of several values of one key the last stands.
    fn from_iter<I: IntoIterator<Item = Row>>(rows: I) -> Self {
        let mut all = Self::default();
        all.merge(rows);
        all
    }
}

impl Configuration {
    /// Returns the configuration that a record holds.
    pub fn from_map(map: &Attributes) -> Self {
        let mut own = Self { rows: Vec::with_capacity(map.len()), blocks: None };
        own.merge(map.iter().map(|(key, value)| (Key::read(key), value.clone())));
        own
    }

    /// Returns it in the form that takes least room, for what is kept long and changed no more.
    pub fn packed(self) -> Self {
        if self.blocks.is_some() {
            return self;
        }
        let same = |(one, _): &Row, (two, _): &Row| (one.scope, one.letter) == (two.scope, two.letter);
        Self { blocks: Some(self.rows.chunk_by(same).map(block).collect()), rows: Vec::new() }
    }

    /// The rows, to change them.
    fn open(&mut self) -> &mut Vec<Row> {
        if let Some(blocks) = self.blocks.take() {
            self.rows = blocks.iter().flat_map(|block| block.iter()).cloned().collect();
        }
        &mut self.rows
    }

    fn whole(&self) -> Part<'_> {
        Part { rows: &self.rows, blocks: self.blocks.as_deref().unwrap_or_default() }
    }

    /// Returns the attributes.
    pub fn attributes(&self) -> impl Iterator<Item = &Row> {
        self.whole().rows()
    }

    /// Returns how many attributes there are.
    pub fn len(&self) -> usize {
        let Part { rows, blocks } = self.whole();
        rows.len() + blocks.iter().map(|block| block.len()).sum::<usize>()
    }

    /// Returns whether there is none.
    pub fn is_empty(&self) -> bool {
        self.whole().is_empty()
    }

    /// Returns the value of a key.
    pub fn get(&self, key: &Key) -> Option<&AttributeValue> {
        let own = match &self.blocks {
            None => &self.rows,
            Some(blocks) => of_letter(blocks, (key.scope, key.letter))?,
        };
        find(own, |own| own.cmp(key))
    }

    /// Returns the single text of a plain attribute.
    pub fn text(&self, base: &str) -> Option<&str> {
        self.part("").text(base)
    }

    /// Sets a value.
    pub fn set(&mut self, key: Key, value: AttributeValue) {
        let rows = self.open();
        match rows.binary_search_by(|(own, _)| own.cmp(&key)) {
            Ok(at) => {
                if let Some((_, own)) = rows.get_mut(at) {
                    *own = value;
                }
            }
            Err(at) => rows.insert(at, (key, value)),
        }
    }

    /// Takes a value out.
    pub fn remove(&mut self, key: &Key) {
        if self.get(key).is_none() {
            return;
        }
        let rows = self.open();
        if let Ok(at) = rows.binary_search_by(|(own, _)| own.cmp(key)) {
            rows.remove(at);
        }
    }

    /// Sets many values; of several of one key the last stands.
    pub fn merge(&mut self, rows: impl IntoIterator<Item = Row>) {
        let own = self.open();
        let before = own.len();
        own.extend(rows);
        if own.get(before.saturating_sub(1)..).is_some_and(is_in_order) {
            return;
        }
        sort_rows(own);
    }

    /// Sets all values of another configuration within a zone, joint or face.
    pub fn merge_within(&mut self, other: &Configuration, scope: &str) {
        self.merge(other.attributes().map(|(key, value)| (key.within(scope), value.clone())));
    }

    /// Returns keys and values in the order of the canonical form.
    pub fn in_order(&self) -> Vec<(&Key, &AttributeValue)> {
        let written = self.attributes().filter(|(key, _)| key.limit != Limit::Share);
        let mut all: Vec<_> = written.map(|(key, value)| (key, value)).collect();
        all.sort_by(|(one, _), (two, _)| one.written_order(two));
        all
    }

    /// Returns the part of this within one zone, joint or face; under no name what belongs to none.
    pub fn part(&self, scope: &str) -> Part<'_> {
        // A name that nothing has borne yet is no scope of this either.
        let Some(scope) = Name::borne(scope) else { return Part::default() };
        let Part { rows, blocks } = self.whole();
        Part {
            rows: stretch(rows, |(key, _)| key.scope.cmp(&scope)),
            blocks: stretch(blocks, |block| first(block).0.cmp(&scope)),
        }
    }

    /// Returns all parts that have attributes, in the order of their names.
    pub fn parts(&self) -> impl Iterator<Item = (Name, Part<'_>)> {
        let Part { rows, blocks } = self.whole();
        let open = rows.chunk_by(|(one, _), (two, _)| one.scope == two.scope);
        let open = open.map(|rows| (first(rows).0, Part { rows, blocks: &[] }));
        let packed = blocks.chunk_by(|one, two| first(one).0 == first(two).0);
        let packed = packed.filter_map(|blocks| Some((first(blocks.first()?).0, Part { rows: &[], blocks })));
        open.chain(packed)
    }

    /// Returns the attributes of some facets.
    pub fn only(&self, facet: impl Fn(&str) -> bool) -> Configuration {
        let rows = self.attributes().filter(|(key, _)| facet(key.facet())).cloned().collect();
        Configuration { rows, blocks: None }
    }
}

/// Returns the block of some rows that is held already, where this thread has made the same.
fn block(rows: &[Row]) -> Block {
    thread_local! {
        static KNOWN: Known<[Row]> = Known::default();
    }
    once(&KNOWN, rows)
}

/// Scope and letter of a block.
fn first(block: &[Row]) -> (Name, Name) {
    block.first().map_or_else(Default::default, |(key, _)| (key.scope, key.letter))
}

/// The stretch of what is in order that is neither before nor behind.
fn stretch<T>(all: &[T], order: impl Fn(&T) -> Ordering) -> &[T] {
    let from = all.partition_point(|one| order(one).is_lt());
    let rest = all.get(from..).unwrap_or_default();
    let upto = rest.partition_point(|one| order(one).is_le());
    rest.get(..upto).unwrap_or_default()
}

fn of_letter(blocks: &[Block], own: (Name, Name)) -> Option<&[Row]> {
    let at = blocks.binary_search_by(|block| first(block).cmp(&own)).ok()?;
    blocks.get(at).map(|block| &**block)
}

fn is_in_order(rows: &[Row]) -> bool {
    rows.is_sorted_by(|(one, _), (two, _)| one < two)
}

fn find(rows: &[Row], order: impl Fn(&Key) -> Ordering) -> Option<&AttributeValue> {
    let at = rows.binary_search_by(|(own, _)| order(own)).ok()?;
    rows.get(at).map(|(_, value)| value)
}

/// What a configuration holds within one zone, joint or face, or outside of all.
#[derive(Debug, Clone, Copy, Default)]
pub struct Part<'a> {
    // One of both is empty.
    rows: &'a [Row],
    blocks: &'a [Block],
}

impl<'a> Part<'a> {
    /// Returns its attributes.
    pub fn rows(self) -> impl Iterator<Item = &'a Row> {
        self.rows.iter().chain(self.blocks.iter().flat_map(|block| block.iter()))
    }

    /// Returns whether it has none.
    pub fn is_empty(self) -> bool {
        self.rows.is_empty() && self.blocks.is_empty()
    }

    /// Returns the nominal of an attribute without letter.
    pub fn nominal(self, base: &str) -> Option<&'a AttributeValue> {
        self.of(base, "")
    }

    /// Returns the nominal of an attribute of one constituent.
    pub fn of(self, base: &str, letter: &str) -> Option<&'a AttributeValue> {
        self.value(Name::borne(base)?, Name::borne(letter)?)
    }

    /// As [`Part::of`], by names that were looked up before.
    pub fn value(self, base: Name, letter: Name) -> Option<&'a AttributeValue> {
        let key = (letter, base, Limit::Nominal);
        let own = match self.blocks.first() {
            None => self.rows,
            Some(any) => of_letter(self.blocks, (first(any).0, letter))?,
        };
        find(own, |own| (own.letter, own.base, own.limit).cmp(&key))
    }

    /// Returns the single text of an attribute without letter.
    pub fn text(self, base: &str) -> Option<&'a str> {
        match self.nominal(base)? {
            AttributeValue::One(text) => Some(text),
            AttributeValue::List(_) => None,
        }
    }

    /// Returns its constituents by letter, in the order of letters; first, under the empty one, what belongs
    /// to none.
    pub fn blocks(self) -> impl DoubleEndedIterator<Item = (Name, &'a [Row])> {
        let open = self.rows.chunk_by(|(one, _), (two, _)| one.letter == two.letter);
        open.chain(self.blocks.iter().map(|block| &**block)).map(|rows| (first(rows).1, rows))
    }

    /// Returns the attributes of one constituent; under the empty letter those of none.
    pub fn block(self, letter: &str) -> &'a [Row] {
        self.blocks().find(|(own, _)| own == letter).map_or(&[], |(_, rows)| rows)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str) -> AttributeValue {
        AttributeValue::one(text)
    }

    fn of(keys: &[(&str, &str)]) -> Configuration {
        keys.iter().map(|(key, value)| (Key::parse(key), one(value))).collect()
    }

    #[test]
    fn rows_are_in_order_however_they_come() {
        let keys = [("plies.z1", "1"), ("cure.method", "2"), ("core-density.c", "3"), ("cure.method", "4")];
        let made = of(&keys);
        assert!(made.attributes().is_sorted_by(|(one, _), (two, _)| one < two));
        assert_eq!(made.len(), 3);
        assert_eq!(made.get(&Key::parse("cure.method")), Some(&one("4")), "the last one stands");
        let mut set = Configuration::default();
        for (key, value) in keys.iter().rev() {
            set.set(Key::parse(key), one(value));
        }
        assert_eq!(set.get(&Key::parse("cure.method")), Some(&one("2")));
        set.set(Key::parse("cure.method"), one("4"));
        assert_eq!(set, made);
        set.remove(&Key::parse("plies.z1"));
        set.remove(&Key::parse("plies.z1"));
        assert_eq!(set.len(), 2);
    }

    #[test]
    fn it_is_the_same_in_both_forms() {
        let keys = ["cure.method", "core-density.c", "core-density.low.c", "fibre.name.a", "fibre.name.a.z2"];
        let open: Configuration = keys.iter().map(|key| (Key::parse(key), one(key))).collect();
        let packed = open.clone().packed();
        assert!(packed.rows.is_empty() && packed.blocks.is_some());
        let digest = |own: &Configuration| {
            let mut digest = std::hash::DefaultHasher::new();
            own.hash(&mut digest);
            digest.finish()
        };
        assert_eq!((&packed, digest(&packed)), (&open, digest(&open)));
        assert_eq!(format!("{packed:?}"), format!("{open:?}"));
        assert_eq!((packed.len(), packed.is_empty()), (5, false));
        for key in keys {
            assert_eq!(packed.get(&Key::parse(key)), Some(&one(key)));
        }
        assert_eq!(packed.get(&Key::parse("fibre.name.a2")), None);
        assert_eq!(packed.in_order(), open.in_order());
        let other = of(&[("fibre.name.a", "another")]);
        assert_ne!(other.clone().packed(), other.clone().packed().only(|facet| facet == "cure"));
        let (mut set, mut less, mut more) = (packed.clone(), packed.clone(), packed.clone());
        set.set(Key::parse("fibre.name.a"), one("another"));
        assert_ne!(set, packed);
        more.merge(other.attributes().cloned());
        assert_eq!(set.packed(), more);
        less.remove(&Key::parse("fibre.name.a3"));
        assert!(less.blocks.is_some(), "nothing was there to take out");
        less.remove(&Key::parse("fibre.name.a"));
        assert_eq!(less.len(), 4);
    }

    #[test]
    fn blocks_that_say_the_same_are_held_once() {
        let one = of(&[("fibre.name.a", "carbon"), ("cure.method", "oven")]).packed();
        let two = of(&[("fibre.name.a", "carbon"), ("cure.method", "press")]).packed();
        let held = |own: &Configuration| own.blocks.as_deref().map(|own| own.to_vec()).unwrap_or_default();
        let (one, two) = (held(&one), held(&two));
        assert!(!Arc::ptr_eq(&one[0], &two[0]) && Arc::ptr_eq(&one[1], &two[1]));
    }

    #[test]
    fn parts_and_blocks_hold_their_own() {
        let open = of(&[
            ("cure.method", "0"),
            ("core-density.c", "1"),
            ("core-density.low.c", "2"),
            ("core-density.c.z2", "3"),
            ("fibre.name.a.z2", "4"),
            ("plies.z10", "5"),
        ]);
        for made in [open.clone(), open.packed()] {
            its_parts(&made);
        }
    }

    fn its_parts(made: &Configuration) {
        let names: Vec<String> = made.parts().map(|(name, _)| name.to_string()).collect();
        assert_eq!(names, ["", "z10", "z2"]);
        assert_eq!(made.part("").rows().count(), 3);
        assert_eq!(made.part("").nominal("cure.method"), Some(&one("0")));
        assert_eq!(made.part("").of("core-density", "c"), Some(&one("1")));
        assert_eq!(made.part("z2").of("core-density", "c"), Some(&one("3")));
        assert_eq!(made.part("z10").text("plies"), Some("5"));
        assert!(made.part("z1").is_empty() && made.part("x1").is_empty());
        let letters: Vec<(String, usize)> =
            made.part("").blocks().map(|(letter, rows)| (letter.to_string(), rows.len())).collect();
        assert_eq!(letters, [(String::new(), 1), ("c".to_string(), 2)]);
        assert_eq!(made.part("z2").block("a").len(), 1);
        assert!(made.part("z2").block("f").is_empty());
    }
}
