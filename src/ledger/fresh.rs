//! What a change leaves behind: errors that a ledger has and the one before it had not.

use super::Ledger;
use crate::record::{Fault, Level};
use std::collections::BTreeMap;

impl Ledger {
    /// Returns the errors that the ledger `before` does not have, each as often as there are more of it: an error that
    /// is mended hides none that is made.
    ///
    /// An error is told by its rule, its file and its words; where in the file it stands may shift.
    pub fn new_errors(&self, before: &Ledger) -> Vec<&Fault> {
        fn errors(ledger: &Ledger) -> impl Iterator<Item = &Fault> {
            ledger.faults.iter().filter(|fault| fault.level == Level::Error)
        }
        fn key(fault: &Fault) -> (&str, &str, &str) {
            (fault.rule, &fault.place.file, &fault.message)
        }
        let mut known: BTreeMap<(&str, &str, &str), usize> = BTreeMap::new();
        for fault in errors(before) {
            *known.entry(key(fault)).or_default() += 1;
        }
        errors(self)
            .filter(|fault| match known.get_mut(&key(fault)) {
                Some(left) if *left > 0 => {
                    *left -= 1;
                    false
                }
                _ => true,
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Place;

    fn ledger(faults: &[(&str, &str)]) -> Ledger {
        let fault = |(file, message): &(&str, &str)| {
            Fault::error("out-of-range", Place::file(*file), message.to_string())
        };
        Ledger { faults: faults.iter().map(fault).collect(), ..Ledger::default() }
    }

    #[test]
    fn an_error_mended_hides_none_that_is_made_and_the_same_twice_is_one_more() {
        let before = ledger(&[("a.yaml", "one"), ("b.yaml", "two")]);
        let words = |after: &Ledger| -> Vec<String> {
            after
                .new_errors(&before)
                .iter()
                .map(|fault| format!("{} {}", fault.place.file, fault.message))
                .collect()
        };
        assert_eq!(words(&ledger(&[("a.yaml", "one"), ("b.yaml", "two")])), [""; 0]);
        assert_eq!(words(&ledger(&[("a.yaml", "one"), ("b.yaml", "three")])), ["b.yaml three"]);
        assert_eq!(words(&ledger(&[("a.yaml", "one"), ("a.yaml", "one")])), ["a.yaml one"]);
        assert_eq!(words(&ledger(&[("c.yaml", "one")])), ["c.yaml one"]);
    }
}
