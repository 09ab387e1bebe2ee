//! Whether two values say the same, however they are written.

use crate::quantity::{Kind, Quantity};
use serde_json::Value;

/// Returns whether two values say the same; a quantity may stand in another unit.
pub(crate) fn same(was: &Value, is: &Value) -> bool {
    match (was, is) {
        (Value::Object(was), Value::Object(is)) => {
            was.len() == is.len()
                && was.iter().all(|(key, value)| is.get(key).is_some_and(|other| same(value, other)))
        }
        (Value::Array(was), Value::Array(is)) => {
            was.len() == is.len() && was.iter().zip(is).all(|(was, is)| same(was, is))
        }
        _ => was == is || same_quantity(was, is),
    }
}

/// Whether two texts are one quantity in two units: exactly the same nominal and limits, and a tolerance
/// written the same way.
pub(super) fn same_quantity(was: &Value, is: &Value) -> bool {
    let (Value::String(was), Value::String(is)) = (was, is) else { return false };
    same_quantity_text(was, is)
}

/// The same of what was written.
pub(super) fn same_quantity_text(was: &str, is: &str) -> bool {
    // Without a unit it may be a name or a number of something.
    if !was.contains(' ') || !is.contains(' ') {
        return false;
    }
    let way = |quantity: &Quantity| std::mem::discriminant(quantity.spread());
    Kind::ALL.iter().any(|kind| {
        let (Ok(was), Ok(is)) = (Quantity::parse(*kind, was), Quantity::parse(*kind, is)) else {
            return false;
        };
        let unit = kind.si_unit();
        was.exact_in(unit).is_some()
            && was.exact_in(unit) == is.exact_in(unit)
            && was.exact_low_in(unit) == is.exact_low_in(unit)
            && was.exact_high_in(unit) == is.exact_high_in(unit)
            && way(&was) == way(&is)
    })
}
