//! Values in their order, each with where it comes from.

/// A value with the number of its group, or its place.
pub(super) type Marked = (f64, u32);

/// Fewer values than this are compared with each other; more are dealt out by their digits.
const MANY: usize = 1024;
/// Digits of a pass, in bits; there are two.
const DIGIT: u32 = 11;

/// Puts values in the order of [`f64::total_cmp`]; equals stay in theirs.
///
/// # Source
/// Counting sort by the leading digits, from the lower of them (D. E. Knuth, *The Art of Computer Programming* 3,
/// 5.2.5, from memory); what shares these digits is then compared.
pub(super) fn in_order(all: &mut [Marked]) {
    let compared = |part: &mut [Marked]| part.sort_by(|(one, _), (two, _)| one.total_cmp(two));
    let keys = || all.iter().map(|(value, _)| key(*value));
    let (Some(least), Some(most)) = (keys().min(), keys().max()) else { return };
    if all.len() < MANY {
        return compared(all);
    }
    let shift = (u64::BITS - (most - least).leading_zeros()).saturating_sub(2 * DIGIT);
    let leading = |(value, _): &Marked| (key(*value) - least) >> shift;
    let mut spare = vec![(0.0, 0); all.len()];
    deal(all, &mut spare, |own| leading(own) & ((1 << DIGIT) - 1));
    deal(&spare, all, |own| leading(own) >> DIGIT);
    for run in all.chunk_by_mut(|one, two| leading(one) == leading(two)) {
        if run.len() > 1 {
            compared(run);
        }
    }
}

/// Whole numbers in the order of the values.
#[inline(always)]
fn key(value: f64) -> u64 {
    let bits = value.to_bits();
    // Of a negative value all bits turn, of another the sign.
    if bits >> 63 == 1 { !bits } else { bits | 1 << 63 }
}

/// Deals values out by a digit; those of one digit stay in their order.
#[inline(always)]
fn deal(from: &[Marked], to: &mut [Marked], digit: impl Fn(&Marked) -> u64) {
    // A digit is below 2^DIGIT.
    let place = |own: &Marked| digit(own) as usize;
    let mut begins = [0_u32; 1 << DIGIT];
    for own in from {
        if let Some(count) = begins.get_mut(place(own)) {
            *count += 1;
        }
    }
    let mut sum = 0;
    for begin in &mut begins {
        (*begin, sum) = (sum, sum + *begin);
    }
    for own in from {
        if let Some(begin) = begins.get_mut(place(own)) {
            if let Some(there) = to.get_mut(*begin as usize) {
                *there = *own;
            }
            *begin += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn like_sort(values: &[f64]) {
        let mut got: Vec<Marked> = values.iter().zip(0..).map(|(value, at)| (*value, at)).collect();
        let mut expected = got.clone();
        in_order(&mut got);
        expected.sort_by(|(one, _), (two, _)| one.total_cmp(two));
        let bits = |all: &[Marked]| all.iter().map(|(value, at)| (value.to_bits(), *at)).collect::<Vec<_>>();
        assert_eq!(bits(&got), bits(&expected));
    }

    #[test]
    fn ends_and_ties_are_in_their_order() {
        like_sort(&[]);
        like_sort(&[2.0, 1.0]);
        like_sort(&[3.0; 3000]);
        let mut odd: Vec<f64> = (0..4000).map(|i| f64::from(i % 7) - 3.0).collect();
        like_sort(&odd);
        odd.extend([f64::MAX, f64::MIN, -0.0, 0.0, 5e-324, f64::INFINITY, f64::NEG_INFINITY, f64::NAN]);
        like_sort(&odd);
    }

    proptest! {
        #[test]
        fn dealing_is_like_sorting(
            near in proptest::collection::vec(900.0..1100.0_f64, 0..2500),
            far in proptest::collection::vec(proptest::num::f64::ANY, 0..50), tenths in any::<bool>(),
        ) {
            let mut all: Vec<f64> =
                near.iter().map(|value| if tenths { (value * 10.0).round() / 10.0 } else { *value }).collect();
            all.extend(far);
            like_sort(&all);
        }
    }
}
