//! What records say over and over, and what is said of them, held once: by each thread, as far as it remembers.

use foldhash::HashSet;
use std::cell::RefCell;
use std::hash::Hash;
use std::sync::Arc;
use std::thread::LocalKey;

/// What one thread remembers.
pub(crate) type Known<T> = RefCell<HashSet<Arc<T>>>;

/// Beyond this many the memory of them begins anew.
const MOST: usize = 8192;

/// Returns a value as it is held already, where this thread has seen the same.
pub(crate) fn once<T: ?Sized + Eq + Hash>(known: &'static LocalKey<Known<T>>, own: &T) -> Arc<T>
where
    Arc<T>: for<'a> From<&'a T>,
{
    known.with_borrow_mut(|known| {
        if let Some(known) = known.get(own) {
            return Arc::clone(known);
        }
        if known.len() >= MOST {
            known.clear();
        }
        let own: Arc<T> = own.into();
        known.insert(Arc::clone(&own));
        own
    })
}

/// Puts rows in the order of their keys; of several of one key the last stands.
pub(crate) fn sort_rows<K: Ord, V>(rows: &mut Vec<(K, V)>) {
    // The sort is stable, so what came last of one key stands last.
    rows.sort_by(|(one, _), (two, _)| one.cmp(two));
    rows.dedup_by(|later, kept| {
        let same = later.0 == kept.0;
        if same {
            std::mem::swap(later, kept);
        }
        same
    });
}
