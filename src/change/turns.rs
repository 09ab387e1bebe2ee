//! Where something turns along a line of states, found by halving.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// Between which states of a line a value turns: for each turn the state after it, counted from 0, oldest first.
///
/// A stretch whose two ends have the same value is taken to have it all along, so that few states are asked: a turn
/// that is taken back inside such a stretch is not seen. `value` is asked once for each state.
///
/// # Errors
/// The first error of `value`.
pub fn turns<T: PartialEq, E>(
    states: usize,
    mut value: impl FnMut(usize) -> Result<T, E>,
) -> Result<Vec<usize>, E> {
    let Some(last) = states.checked_sub(1) else { return Ok(Vec::new()) };
    let mut known: BTreeMap<usize, T> = BTreeMap::new();
    let mut turned = Vec::new();
    // The later half is looked at last, so that the turns come in order.
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        for at in [from, to] {
            if let Entry::Vacant(open) = known.entry(at) {
                open.insert(value(at)?);
            }
        }
        if known.get(&from) == known.get(&to) {
            continue;
        }
        if to - from == 1 {
            turned.push(to);
            continue;
        }
        let middle = from + (to - from) / 2;
        open.push((middle, to));
        open.push((from, middle));
    }
    Ok(turned)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::convert::Infallible;

    fn of(values: &[i32]) -> (Vec<usize>, usize) {
        let mut asked = 0;
        let found = turns(values.len(), |at| {
            asked += 1;
            Ok::<_, Infallible>(values[at])
        });
        (found.unwrap(), asked)
    }

    #[test]
    fn nothing_turns_in_no_state_or_one() {
        assert_eq!(of(&[]), (vec![], 0));
        assert_eq!(of(&[4]), (vec![], 1));
        assert_eq!(of(&[4, 4, 4]), (vec![], 2));
        assert_eq!(of(&[4, 5, 6]), (vec![1, 2], 3));
        // Taken back in between: not seen, as the comment says.
        assert_eq!(of(&[4, 5, 4]), (vec![], 2));
    }

    proptest! {
        /// Where nothing is taken back every turn is found, in order, and few states are asked.
        #[test]
        fn what_only_grows_turns_where_its_neighbours_differ(steps in prop::collection::vec(0i32..3, 1..200)) {
            let few = |step: &i32| i32::from(*step == 2);
            let values: Vec<i32> = steps.iter().map(few).scan(0, |sum, step| { *sum += step; Some(*sum) }).collect();
            let expected: Vec<usize> = (1..values.len()).filter(|at| values[*at] != values[at - 1]).collect();
            let (found, asked) = of(&values);
            prop_assert_eq!(&found, &expected);
            let halvings = values.len().ilog2() as usize + 2;
            prop_assert!(asked <= 2 + expected.len() * halvings, "{} asked for {} turns", asked, expected.len());
        }
    }
}
