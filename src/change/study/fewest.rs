//! The fewest changes that save what is sought.
//!
//! A row that no other is better than may change much: whoever has to answer for each change asks for the least that
//! does it, at more tests, too.

use super::StudyError;
use super::judge::{Row, grams};
use super::search::Search;
use super::space::Choice;

/// The most that are judged for it.
pub(super) const MOST_TRIED: usize = 24;
/// The most combinations that are weighed for it.
const MOST_WEIGHED: usize = 50_000;

/// Judges combinations of few changes that weigh little enough, by number of changes, until one is kept; returns the
/// best of those, and whether none with fewer changes is left that was not looked at. All that are lighter than `bound`
/// were looked at before; without one, all that are lighter than what asks for nothing.
pub(super) fn fewest(
    search: &mut Search<'_>,
    goal_kg: f64,
    bound: Option<f64>,
) -> Result<Option<(Row, bool)>, StudyError> {
    let reaches = |row: &Row| !row.is_weakened() && grams(row.delta) <= -grams(goal_kg);
    // A row that is known already bounds how many it can be.
    let known = search.kept().filter(|row| reaches(row)).map(Row::changes).min();
    let Some(most) = known else { return Ok(None) };
    let looked_at = bound.map_or_else(|| search.free_grams(), grams);
    let (mut budget, mut whole) = (MOST_TRIED, true);
    for count in 1..=most {
        let (mut choices, mut all) = weighed(search, count, goal_kg);
        // What was looked at and is not known was thrown out, and is counted there.
        choices.retain(|(choice, delta)| !search.known.contains_key(choice) && grams(*delta) >= looked_at);
        // The heaviest that does it moves the least.
        choices.sort_by(|one, two| two.1.total_cmp(&one.1).then_with(|| one.0.cmp(&two.0)));
        all &= choices.len() <= budget;
        choices.truncate(budget);
        budget -= choices.len();
        let tried: Vec<Choice> = choices.into_iter().map(|(choice, _)| choice).collect();
        search.try_all(tried.clone())?;
        let seen = |choice: &Choice| {
            search.known.contains_key(choice)
                || search.looked_up.contains_key(choice)
                || search.candidate(choice.clone()).is_none()
        };
        all &= tried.iter().all(seen);
        let own = search.kept().filter(|row| reaches(row) && row.changes() == count);
        let best = own.min_by(|one, two| {
            let asks = one.asks_nothing().cmp(&two.asks_nothing()).reverse();
            let free = asks.then(two.is_free().cmp(&one.is_free())).then(one.weeks.total_cmp(&two.weeks));
            let known = free.then(one.cost.is_none().cmp(&two.cost.is_none()));
            let cost = known.then(one.known_cost.total_cmp(&two.known_cost));
            // Then what has least to be shown for it, and what saves most.
            let open = cost.then(one.open.len().cmp(&two.open.len()));
            open.then(one.delta.total_cmp(&two.delta)).then_with(|| one.choice.cmp(&two.choice))
        });
        if let Some(best) = best {
            return Ok(Some((best.clone(), whole)));
        }
        whole &= all;
    }
    Ok(None)
}

/// The choices of so many changes that weigh little enough, each with its difference of mass, and whether these are
/// all of them.
fn weighed(search: &Search<'_>, count: usize, goal_kg: f64) -> (Vec<(Choice, f64)>, bool) {
    let mut all = Vec::new();
    let mut looked = 0_usize;
    let mut open: Vec<(Choice, usize, usize)> = vec![(search.space.as_it_is(), 0, count)];
    while let Some((choice, from, left)) = open.pop() {
        if left == 0 {
            looked += 1;
            if looked > MOST_WEIGHED {
                return (all, false);
            }
            if search.space.contradicts(&choice) {
                continue;
            }
            let delta = search.candidate(choice.clone()).map(|one| one.delta);
            if let Some(delta) = delta.filter(|delta| grams(*delta) <= -grams(goal_kg)) {
                all.push((choice, delta));
            }
            continue;
        }
        for (at, variation) in search.space.variations.iter().enumerate().skip(from) {
            for option in 1..variation.options.len() {
                let mut further = choice.clone();
                let (Some(place), Ok(option)) = (further.get_mut(at), u16::try_from(option)) else {
                    continue;
                };
                *place = option;
                open.push((further, at + 1, left - 1));
            }
        }
    }
    (all, true)
}
