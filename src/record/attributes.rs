//! The flat map of attributes that a record of evidence holds.

use super::kinds::AttributeValue;
use super::once::{Known, once, sort_rows};
use std::fmt;
use std::sync::Arc;

/// One attribute by its name as written.
type Row = (Arc<str>, AttributeValue);

/// Neighbours of one facet: never empty, and held once for many records, which say the same of the same articles.
type Facet = Arc<[Row]>;

/// Attributes by their names as written, in the order of names; names are shared as values are.
#[derive(Clone, PartialEq, Default)]
pub struct Attributes {
    facets: Box<[Facet]>,
}

impl fmt::Debug for Attributes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // A field that is added has to be in it: marks go by what is said here.
        let Self { facets: _ } = self;
        f.debug_map().entries(self.iter().map(|(name, value)| (name, value))).finish()
    }
}

impl FromIterator<Row> for Attributes {
    /// Of several values of one name the last stands.
    fn from_iter<I: IntoIterator<Item = Row>>(rows: I) -> Self {
        let mut rows: Vec<Row> = rows.into_iter().collect();
        sort_rows(&mut rows);
        let of_one = |(one, _): &Row, (two, _): &Row| of_facet(one) == of_facet(two);
        Self { facets: rows.chunk_by(of_one).map(facet).collect() }
    }
}

impl Extend<Row> for Attributes {
    fn extend<I: IntoIterator<Item = Row>>(&mut self, rows: I) {
        *self = self.iter().cloned().chain(rows).collect();
    }
}

impl<'a> IntoIterator for &'a Attributes {
    type Item = &'a Row;
    type IntoIter = Box<dyn Iterator<Item = &'a Row> + 'a>;

    fn into_iter(self) -> Self::IntoIter {
        Box::new(self.iter())
    }
}

impl Attributes {
    /// Returns names and values in the order of names.
    pub fn iter(&self) -> impl Iterator<Item = &Row> {
        self.facets.iter().flat_map(|facet| facet.iter())
    }

    /// Returns how many there are.
    pub fn len(&self) -> usize {
        self.facets.iter().map(|facet| facet.len()).sum()
    }

    /// Returns whether there is none.
    pub fn is_empty(&self) -> bool {
        self.facets.is_empty()
    }

    /// Returns the value of a name.
    pub fn get(&self, name: &str) -> Option<&AttributeValue> {
        let behind = |facet: &Facet| facet.first().is_some_and(|(first, _)| **first <= *name);
        let facet = self.facets.get(self.facets.partition_point(behind).checked_sub(1)?)?;
        let at = facet.binary_search_by(|(own, _)| (**own).cmp(name)).ok()?;
        facet.get(at).map(|(_, value)| value)
    }

    /// Sets a value.
    pub fn insert(&mut self, name: Arc<str>, value: AttributeValue) {
        self.extend([(name, value)]);
    }

    /// Leaves out what is not wanted.
    pub fn retain(&mut self, wanted: impl Fn(&str, &AttributeValue) -> bool) {
        *self = self.iter().filter(|(name, value)| wanted(name, value)).cloned().collect();
    }
}

/// The part of a name before the first dot.
fn of_facet(name: &str) -> &str {
    name.split('.').next().unwrap_or(name)
}

/// Returns the facet of some rows that is held already, where this thread has read the same.
fn facet(rows: &[Row]) -> Facet {
    thread_local! {
        static KNOWN: Known<[Row]> = Known::default();
    }
    once(&KNOWN, rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    #[test]
    fn it_answers_as_a_sorted_map_does() {
        let names = [
            "primer",
            "primer-b.x",
            "primer.density",
            "fibre.name.a",
            "fibre-areal.a",
            "fibre.name.b",
            "a",
            "fibre.name.a",
        ];
        let rows = || {
            names
                .iter()
                .enumerate()
                .map(|(at, name)| (Arc::from(*name), AttributeValue::one(&at.to_string())))
        };
        let (own, map): (Attributes, BTreeMap<Arc<str>, AttributeValue>) =
            (rows().collect(), rows().collect());
        let both = |own: &Attributes, map: &BTreeMap<Arc<str>, AttributeValue>| {
            assert!(own.iter().map(|(name, value)| (name, value)).eq(map));
            assert_eq!((own.len(), own.is_empty()), (map.len(), map.is_empty()));
            assert_eq!(format!("{own:?}"), format!("{map:?}"));
            for name in names.into_iter().chain(["", "b", "fibre", "primer.", "z"]) {
                assert_eq!(own.get(name), map.get(name), "{name}");
            }
        };
        both(&own, &map);
        let (mut less, mut few) = (own.clone(), map.clone());
        less.retain(|name, _| !name.starts_with("fibre."));
        few.retain(|name, _| !name.starts_with("fibre."));
        both(&less, &few);
        assert_ne!(less, own);
        less.insert("fibre.name.b".into(), AttributeValue::one("5"));
        less.insert("fibre.name.a".into(), AttributeValue::one("0"));
        less.insert("fibre.name.a".into(), AttributeValue::one("7"));
        assert_eq!(less, own);
        both(&Attributes::default(), &BTreeMap::new());
    }

    #[test]
    fn facets_that_say_the_same_are_held_once() {
        let of = |method: &str| -> Attributes {
            let row = |name: &str, value: &str| (Arc::from(name), AttributeValue::one(value));
            [row("cure.method", method), row("fibre.name.a", "carbon")].into_iter().collect()
        };
        let (one, two) = (of("oven"), of("press"));
        let same: Vec<bool> =
            one.facets.iter().zip(&two.facets).map(|(one, two)| Arc::ptr_eq(one, two)).collect();
        assert_eq!(same, [false, true]);
    }
}
