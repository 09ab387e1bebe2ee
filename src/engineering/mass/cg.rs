//! Centre of gravity.

use super::{MassError, finite};

/// Where the mass is, as far as positions are known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CentreOfGravity {
    /// Mass of all items, kg.
    pub mass: f64,
    /// Centre of the items that have a position, m, in the axes of the positions; `None` where no
    /// mass has one.
    pub at: Option<[f64; 3]>,
    /// Share of the mass that has no position, 0 to 1; 0 where there is no mass.
    pub share_without_position: f64,
}

/// Returns the centre of gravity of items given as (mass in kg, position in m).
///
/// Items without a position count in the mass and in the share, never as if they stood at the
/// origin.
///
/// # Errors
/// [`MassError::Negative`] with the item's place, [`MassError::NotFinite`].
///
/// # Source
/// r = sum m r / sum m, over the items with a position.
pub fn centre_of_gravity(items: &[(f64, Option<[f64; 3]>)]) -> Result<CentreOfGravity, MassError> {
    let (mut mass, mut placed, mut moment) = (0.0, 0.0, [0.0; 3]);
    for (place, (kg, position)) in items.iter().enumerate() {
        finite("a mass", *kg)?;
        if *kg < 0.0 {
            return Err(MassError::Negative { item: place + 1, kg: *kg });
        }
        mass += kg;
        if let Some(position) = position {
            placed += kg;
            for (sum, coordinate) in moment.iter_mut().zip(position) {
                *sum += kg * finite("a position", *coordinate)?;
            }
        }
    }
    finite("the mass", mass)?;
    let at = if placed > 0.0 {
        let centre = moment.map(|m| m / placed);
        for coordinate in centre {
            finite("the centre of gravity", coordinate)?;
        }
        Some(centre)
    } else {
        None
    };
    let share = if mass > 0.0 { ((mass - placed) / mass).clamp(0.0, 1.0) } else { 0.0 };
    Ok(CentreOfGravity { mass, at, share_without_position: share })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn items_balance_at_their_closed_form() {
        let items = [(1.0, Some([0.0, 0.0, 2.0])), (3.0, Some([4.0, -1.0, 2.0])), (1.0, None)];
        let got = centre_of_gravity(&items).unwrap();
        assert_eq!(got.mass, 5.0);
        assert_eq!(got.at, Some([3.0, -0.75, 2.0]));
        assert_eq!(got.share_without_position, 0.2);
    }

    #[test]
    fn nothing_placed_has_no_centre() {
        let got = centre_of_gravity(&[(2.0, None)]).unwrap();
        assert_eq!((got.at, got.share_without_position), (None, 1.0));
        let got = centre_of_gravity(&[]).unwrap();
        assert_eq!((got.mass, got.at, got.share_without_position), (0.0, None, 0.0));
        assert_eq!(centre_of_gravity(&[(0.0, Some([1.0; 3]))]).unwrap().at, None);
    }

    #[test]
    fn bad_items_are_refused() {
        let negative = [(1.0, None), (-1.0, None)];
        assert_eq!(centre_of_gravity(&negative), Err(MassError::Negative { item: 2, kg: -1.0 }));
        for bad in [f64::NAN, f64::INFINITY] {
            assert!(centre_of_gravity(&[(bad, None)]).is_err());
            assert!(centre_of_gravity(&[(1.0, Some([0.0, bad, 0.0]))]).is_err());
        }
        assert!(centre_of_gravity(&[(f64::MAX, None), (f64::MAX, None)]).is_err());
        assert!(centre_of_gravity(&[(f64::MAX, Some([2.0; 3]))]).is_err());
    }

    proptest! {
        #[test]
        fn parts_rolled_up_first_give_the_same_whole(
            items in prop::collection::vec((0.01..100.0, prop::array::uniform3(-10.0..10.0)), 2..20),
            cut in 1usize..19,
        ) {
            let items: Vec<_> = items.into_iter().map(|(kg, at)| (kg, Some(at))).collect();
            let (left, right) = items.split_at(cut.min(items.len() - 1));
            let parts = [left, right].map(|part| centre_of_gravity(part).unwrap());
            let joined = centre_of_gravity(&parts.map(|p| (p.mass, p.at))).unwrap();
            let whole = centre_of_gravity(&items).unwrap();
            prop_assert!((joined.mass - whole.mass).abs() < 1e-9);
            for (a, b) in joined.at.unwrap().into_iter().zip(whole.at.unwrap()) {
                prop_assert!((a - b).abs() < 1e-12 * 1e3);
            }
        }
    }
}
