//! How far a figure may move before something changes: looked for on a grid, then halved to the last step.

/// Returns the last whole step that holds on the way from one that does to one that does not, halving between
/// them; whatever lies between is taken to change once.
///
/// Edges are round figures as a rule, so that it is halved among round ones first and asked at once whether the
/// very next step fails.
///
/// # Errors
/// Whatever `holds` returns.
pub fn last_holding<E>(
    holding: i64,
    failing: i64,
    mut holds: impl FnMut(i64) -> Result<bool, E>,
) -> Result<i64, E> {
    let (mut inside, mut outside) = (holding, failing);
    let way = (failing - holding).signum();
    let mut unit = 1_i64;
    while unit <= (outside - inside).abs() / 4 {
        unit = unit.saturating_mul(10);
    }
    unit /= 10;
    while unit > 1 {
        let before = outside;
        let round = |at: i64| at.div_euclid(unit) * unit;
        loop {
            let middle = round(inside + (outside - inside) / 2);
            let middle = if (middle - inside) * way > 0 { middle } else { middle + way * unit };
            if (middle - inside) * way <= 0 || (outside - middle) * way <= 0 {
                break;
            }
            if holds(middle)? { inside = middle } else { outside = middle }
        }
        // Where nothing was halved at this unit there is nothing new to ask.
        if (outside - inside).abs() > 1 && (before != outside || inside % unit == 0) {
            if !holds(inside + way)? {
                return Ok(inside);
            }
            inside += way;
        }
        unit /= 10;
    }
    while (outside - inside).abs() > 1 {
        let middle = inside + (outside - inside) / 2;
        if holds(middle)? { inside = middle } else { outside = middle }
    }
    Ok(inside)
}

/// Returns the last step that holds before the nearest change on the way from `now` through `points`, which lead
/// away from it; `None` where all of them hold.
///
/// What changes and changes back between two neighbouring points is not seen: whoever says the answer says the
/// points too.
///
/// # Errors
/// Whatever `holds` returns.
pub fn nearest_change<E>(
    now: i64,
    points: &[i64],
    mut holds: impl FnMut(i64) -> Result<bool, E>,
) -> Result<Option<i64>, E> {
    let mut inside = now;
    for point in points {
        if !holds(*point)? {
            return last_holding(inside, *point, holds).map(Some);
        }
        inside = *point;
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::convert::Infallible;

    #[test]
    fn the_nearest_change_is_found_on_either_side() {
        let within = |at: i64| Ok::<_, Infallible>((350_000..=390_000).contains(&at));
        assert_eq!(nearest_change(370_000, &[373_700, 400_000, 740_000], within), Ok(Some(390_000)));
        assert_eq!(nearest_change(370_000, &[366_300, 300_000, 0], within), Ok(Some(350_000)));
        assert_eq!(nearest_change(370_000, &[380_000], within), Ok(None));
        assert_eq!(nearest_change(350_000, &[349_999], within), Ok(Some(350_000)));
    }

    #[test]
    fn what_changes_and_changes_back_beyond_the_nearest_is_left_alone() {
        // Lapses from 20 on, holds again from 60.
        let holds = |at: i64| Ok::<_, Infallible>(!(20..60).contains(&at));
        assert_eq!(nearest_change(0, &[10, 30, 90], holds), Ok(Some(19)));
    }

    #[test]
    fn a_round_edge_takes_few_looks() {
        let mut looks = 0;
        let found = last_holding(375_250, 355_500, |at: i64| {
            looks += 1;
            Ok::<_, Infallible>(at >= 375_000)
        });
        assert_eq!(found, Ok(375_000));
        // Plain halving of 19 750 steps takes fifteen.
        assert!(looks <= 10, "{looks}");
    }

    proptest::proptest! {
        #[test]
        fn any_edge_between_two_looks_is_found(low in -100_000_i64..100_000, span in 1_i64..200_000, part in 0.0_f64..1.0, up: bool) {
            #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)]
            let far = ((span - 1) as f64 * part) as i64;
            let way = if up { 1 } else { -1 };
            let edge = low + way * far;
            let found = last_holding(low, low + way * span, |at| Ok::<_, Infallible>((at - low) * way <= far));
            proptest::prop_assert_eq!(found, Ok(edge));
        }

        #[test]
        fn the_last_step_that_holds_is_the_edge(now in -1000_i64..1000, edge in 0_i64..5000, up: bool) {
            let way = if up { 1 } else { -1 };
            let points: Vec<i64> = [1, 10, 100, 1000, 6000].iter().map(|far| now + way * far).collect();
            let found = nearest_change(now, &points, |at| Ok::<_, Infallible>((at - now).abs() <= edge));
            proptest::prop_assert_eq!(found, Ok(Some(now + way * edge)));
        }
    }
}
