//! The layer difference: which layer became which, one function for impact, comparison and decisions.

use std::collections::BTreeSet;

/// What became of one place of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Aligned {
    /// The same layer, unchanged: place before, place now (from 0).
    Kept(usize, usize),
    /// The same layer, altered.
    Altered(usize, usize),
    /// New: place now.
    Inserted(usize),
    /// Gone: place before.
    Removed(usize),
    /// The same layer elsewhere: place before, place now.
    Moved(usize, usize),
}

/// Cost of putting a layer in or taking one out; each differing property of a pair costs one.
const STEP: i64 = 2;
/// Equal ids outweigh any cost of a list.
const SAME_ID: i64 = 1_000_000;

/// How two layers compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likeness {
    /// They never pair: other roles, or other ids.
    Apart,
    /// They pair; this many of constituent, angle and thickness differ.
    Differ(u32),
    /// They carry the same id; this many differ.
    SameId(u32),
}

/// Aligns two lists at the least cost; among equals, layers nearest the tool face pair first.
///
/// `likeness` compares place `i` before with place `j` now.
pub fn align(was: usize, is: usize, likeness: impl Fn(usize, usize) -> Likeness) -> Vec<Aligned> {
    // Equal ends pair with each other in every cheapest alignment without ids; cutting them off keeps
    // long lists cheap. With ids a pair further in may be wanted, so only unchanged layers are cut.
    let mut head = 0;
    while head < was && head < is && matches!(likeness(head, head), Likeness::Differ(0) | Likeness::SameId(0))
    {
        head += 1;
    }
    let (rows, columns) = (was - head, is - head);
    let width = columns + 1;
    let mut cost = vec![0i64; (rows + 1) * width];
    let at = |i: usize, j: usize| i * width + j;
    let read = |cost: &[i64], i: usize, j: usize| cost.get(at(i, j)).copied().unwrap_or(i64::MAX / 4);
    let pair_cost = |i: usize, j: usize| match likeness(head + i, head + j) {
        Likeness::Apart => None,
        Likeness::Differ(count) => Some(i64::from(count)),
        Likeness::SameId(count) => Some(i64::from(count) - SAME_ID),
    };
    for i in (0..=rows).rev() {
        for j in (0..=columns).rev() {
            let value = match (i == rows, j == columns) {
                (true, true) => 0,
                (true, false) => read(&cost, i, j + 1) + STEP,
                (false, true) => read(&cost, i + 1, j) + STEP,
                (false, false) => {
                    let paired = pair_cost(i, j).map(|own| own + read(&cost, i + 1, j + 1));
                    let single = (read(&cost, i + 1, j) + STEP).min(read(&cost, i, j + 1) + STEP);
                    paired.map_or(single, |paired| paired.min(single))
                }
            };
            if let Some(slot) = cost.get_mut(at(i, j)) {
                *slot = value;
            }
        }
    }
    let mut found: Vec<Aligned> = (0..head).map(|place| Aligned::Kept(place, place)).collect();
    let (mut i, mut j) = (0, 0);
    while i < rows || j < columns {
        let here = read(&cost, i, j);
        if i < rows && j < columns {
            let own = pair_cost(i, j);
            if own.is_some_and(|own| own + read(&cost, i + 1, j + 1) == here) {
                let same = matches!(likeness(head + i, head + j), Likeness::Differ(0) | Likeness::SameId(0));
                let (before, now) = (head + i, head + j);
                found.push(if same { Aligned::Kept(before, now) } else { Aligned::Altered(before, now) });
                i += 1;
                j += 1;
                continue;
            }
        }
        if i < rows && read(&cost, i + 1, j) + STEP == here {
            found.push(Aligned::Removed(head + i));
            i += 1;
        } else {
            found.push(Aligned::Inserted(head + j));
            j += 1;
        }
    }
    moves(found, likeness)
}

/// Turns a removed and an inserted layer with equal values into one move.
fn moves(found: Vec<Aligned>, likeness: impl Fn(usize, usize) -> Likeness) -> Vec<Aligned> {
    let inserted: Vec<usize> = found
        .iter()
        .filter_map(|one| if let Aligned::Inserted(now) = one { Some(*now) } else { None })
        .collect();
    let mut taken = BTreeSet::new();
    let mut moved = Vec::new();
    for one in &found {
        let Aligned::Removed(before) = one else { continue };
        let target = inserted.iter().find(|now| {
            !taken.contains(*now)
                && matches!(likeness(*before, **now), Likeness::Differ(0) | Likeness::SameId(_))
        });
        if let Some(now) = target {
            taken.insert(*now);
            moved.push((*before, *now));
        }
    }
    found
        .into_iter()
        .filter_map(|one| match one {
            Aligned::Removed(before) => match moved.iter().find(|(from, _)| *from == before) {
                Some((from, to)) => Some(Aligned::Moved(*from, *to)),
                None => Some(one),
            },
            Aligned::Inserted(now) => (!taken.contains(&now)).then_some(one),
            other => Some(other),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn by_value(was: &[(u8, u8)], is: &[(u8, u8)]) -> Vec<Aligned> {
        align(was.len(), is.len(), |i, j| {
            let (one, two) = (was[i], is[j]);
            Likeness::Differ(u32::from(one.0 != two.0) + u32::from(one.1 != two.1))
        })
    }

    #[test]
    fn an_inserted_ply_is_one_change() {
        let was = [(1, 45), (1, 0), (1, 90)];
        let is = [(1, 45), (1, 0), (1, 0), (1, 90)];
        let found = by_value(&was, &is);
        let changed: Vec<_> = found.iter().filter(|one| !matches!(one, Aligned::Kept(..))).collect();
        assert_eq!(changed, [&Aligned::Inserted(2)]);
    }

    #[test]
    fn a_new_ply_in_front_shifts_nobody() {
        let found = by_value(&[(1, 0), (2, 45), (1, 90)], &[(3, 30), (1, 0), (2, 45), (1, 90)]);
        assert_eq!(found[0], Aligned::Inserted(0));
        assert_eq!(found[1..], [Aligned::Kept(0, 1), Aligned::Kept(1, 2), Aligned::Kept(2, 3)]);
    }

    #[test]
    fn equal_layers_out_and_in_are_a_move() {
        let found = by_value(&[(1, 0), (2, 45), (3, 90)], &[(2, 45), (3, 90), (1, 0)]);
        assert!(found.contains(&Aligned::Moved(0, 2)), "{found:?}");
    }

    proptest! {
        #[test]
        fn every_place_is_named_once(was in prop::collection::vec((0u8..3, 0u8..3), 0..12), is in prop::collection::vec((0u8..3, 0u8..3), 0..12)) {
            let found = by_value(&was, &is);
            let mut before: Vec<usize> = Vec::new();
            let mut now: Vec<usize> = Vec::new();
            for one in found {
                match one {
                    Aligned::Kept(i, j) | Aligned::Altered(i, j) | Aligned::Moved(i, j) => { before.push(i); now.push(j); }
                    Aligned::Inserted(j) => now.push(j),
                    Aligned::Removed(i) => before.push(i),
                }
            }
            before.sort_unstable();
            now.sort_unstable();
            prop_assert_eq!(before, (0..was.len()).collect::<Vec<_>>());
            prop_assert_eq!(now, (0..is.len()).collect::<Vec<_>>());
        }
    }
}
