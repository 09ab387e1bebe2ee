//! Configurations: what a subject is by value, attribute by attribute.

use super::key::{Key, Limit};
use super::name::Name;
use crate::record::{AttributeValue, Attributes};

/// Version of the canonical form that this program writes.
pub const FORM: u32 = 1;

/// One attribute with its value.
pub type Row = (Key, AttributeValue);

/// A flat map of attributes, in the order of their keys: scope by scope, and in each letter by letter.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Configuration {
    rows: Vec<Row>,
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
        let mut own = Self { rows: Vec::with_capacity(map.len()) };
        own.merge(map.iter().map(|(key, value)| (Key::read(key), value.clone())));
        own
    }

    /// Gives back the room that is left over from putting it together.
    pub fn packed(mut self) -> Self {
        self.rows.shrink_to_fit();
        self
    }

    /// Returns the attributes.
    pub fn attributes(&self) -> &[Row] {
        &self.rows
    }

    /// Returns the value of a key.
    pub fn get(&self, key: &Key) -> Option<&AttributeValue> {
        find(&self.rows, |own| own.cmp(key))
    }

    /// Returns the single text of a plain attribute.
    pub fn text(&self, base: &str) -> Option<&str> {
        self.part("").text(base)
    }

    /// Sets a value.
    pub fn set(&mut self, key: Key, value: AttributeValue) {
        match self.rows.binary_search_by(|(own, _)| own.cmp(&key)) {
            Ok(at) => {
                if let Some((_, own)) = self.rows.get_mut(at) {
                    *own = value;
                }
            }
            Err(at) => self.rows.insert(at, (key, value)),
        }
    }

    /// Takes a value out.
    pub fn remove(&mut self, key: &Key) {
        if let Ok(at) = self.rows.binary_search_by(|(own, _)| own.cmp(key)) {
            self.rows.remove(at);
        }
    }

    /// Sets many values; of several of one key the last stands.
    pub fn merge(&mut self, rows: impl IntoIterator<Item = Row>) {
        let before = self.rows.len();
        self.rows.extend(rows);
        if self.rows.get(before.saturating_sub(1)..).is_some_and(is_in_order) {
            return;
        }
        // The sort is stable, so what came last of one key stands last.
        self.rows.sort_by_key(|(one, _)| *one);
        self.rows.dedup_by(|later, kept| {
            let same = later.0 == kept.0;
            if same {
                std::mem::swap(later, kept);
            }
            same
        });
    }

    /// Sets all values of another configuration within a zone, joint or face.
    pub fn merge_within(&mut self, other: &Configuration, scope: &str) {
        self.merge(other.rows.iter().map(|(key, value)| (key.within(scope), value.clone())));
    }

    /// Returns keys and values in the order of the canonical form.
    pub fn in_order(&self) -> Vec<(&Key, &AttributeValue)> {
        let written = self.rows.iter().filter(|(key, _)| key.limit != Limit::Share);
        let mut all: Vec<_> = written.map(|(key, value)| (key, value)).collect();
        all.sort_by(|(one, _), (two, _)| one.written_order(two));
        all
    }

    /// Returns the part of this within one zone, joint or face; under no name what belongs to none.
    pub fn part(&self, scope: &str) -> Part<'_> {
        // A name that nothing has borne yet is no scope of this either.
        let Some(scope) = Name::borne(scope) else { return Part::default() };
        let from = self.rows.partition_point(|(key, _)| key.scope < scope);
        let rest = self.rows.get(from..).unwrap_or_default();
        let upto = rest.partition_point(|(key, _)| key.scope <= scope);
        Part { rows: rest.get(..upto).unwrap_or_default() }
    }

    /// Returns all parts that have attributes, in the order of their names.
    pub fn parts(&self) -> impl Iterator<Item = (Name, Part<'_>)> {
        self.rows.chunk_by(|(one, _), (two, _)| one.scope == two.scope).filter_map(|rows| {
            let (first, _) = rows.first()?;
            Some((first.scope, Part { rows }))
        })
    }

    /// Returns the attributes of some facets.
    pub fn only(&self, facet: impl Fn(&str) -> bool) -> Configuration {
        let rows = self.rows.iter().filter(|(key, _)| facet(key.facet())).cloned().collect();
        Configuration { rows }
    }
}

fn is_in_order(rows: &[Row]) -> bool {
    rows.is_sorted_by(|(one, _), (two, _)| one < two)
}

fn find(rows: &[Row], order: impl Fn(&Key) -> std::cmp::Ordering) -> Option<&AttributeValue> {
    let at = rows.binary_search_by(|(own, _)| order(own)).ok()?;
    rows.get(at).map(|(_, value)| value)
}

/// What a configuration holds within one zone, joint or face, or outside of all.
#[derive(Debug, Clone, Copy, Default)]
pub struct Part<'a> {
    rows: &'a [Row],
}

impl<'a> Part<'a> {
    /// Returns its attributes.
    pub fn rows(self) -> &'a [Row] {
        self.rows
    }

    /// Returns whether it has none.
    pub fn is_empty(self) -> bool {
        self.rows.is_empty()
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
        find(self.rows, |own| (own.letter, own.base, own.limit).cmp(&key))
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
        self.rows
            .chunk_by(|(one, _), (two, _)| one.letter == two.letter)
            .filter_map(|rows| rows.first().map(|(first, _)| (first.letter, rows)))
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
        assert!(is_in_order(made.attributes()));
        assert_eq!(made.attributes().len(), 3);
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
        assert_eq!(set.attributes().len(), 2);
    }

    #[test]
    fn parts_and_blocks_hold_their_own() {
        let made = of(&[
            ("cure.method", "0"),
            ("core-density.c", "1"),
            ("core-density.low.c", "2"),
            ("core-density.c.z2", "3"),
            ("fibre.name.a.z2", "4"),
            ("plies.z10", "5"),
        ]);
        let names: Vec<String> = made.parts().map(|(name, _)| name.to_string()).collect();
        assert_eq!(names, ["", "z10", "z2"]);
        assert_eq!(made.part("").rows().len(), 3);
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
