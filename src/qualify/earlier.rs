//! What earlier runs judged and computed, asked for by digests of all that it follows from.
//!
//! A digest is over what a value says of itself by `Debug`, which the records derive, so that a field that is added is in
//! it without anybody having to think of it; what writes it by hand takes its fields apart, and does not compile without. Nothing in them is a map without an order.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::any::Any;
use std::collections::HashMap;
use std::fmt::{self, Debug, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, PoisonError, RwLock};

/// A digest over all that a value follows from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Mark([u8; 32]);

impl Mark {
    /// Returns the mark of a value that says everything of itself.
    pub fn of(value: &dyn Debug) -> Self {
        let mut marker = Marker { digest: Sha256::new(), waiting: Vec::with_capacity(Marker::ROOM) };
        // Digests take every byte.
        let _ = write!(marker, "{value:?}");
        marker.digest.update(&marker.waiting);
        Self(marker.digest.finalize().into())
    }

    /// Returns it as hexadecimal digits.
    pub fn text(&self) -> String {
        self.0.iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

/// A digest of texts, which come in pieces of a few bytes: they are gathered, since each call of a digest has its price.
struct Marker {
    digest: Sha256,
    waiting: Vec<u8>,
}

impl Marker {
    const ROOM: usize = 4096;
}

impl fmt::Write for Marker {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        if self.waiting.len() + text.len() > Self::ROOM {
            self.digest.update(&self.waiting);
            self.waiting.clear();
        }
        if text.len() > Self::ROOM {
            self.digest.update(text.as_bytes());
        } else {
            self.waiting.extend_from_slice(text.as_bytes());
        }
        Ok(())
    }
}

/// Values with what they are found by, worked out when the answer is out.
pub type Values = Box<dyn FnOnce() -> Vec<(Mark, Vec<u8>)> + Send>;

/// What earlier runs worked out. Whoever asks is ready for there being nothing.
pub trait Earlier: Send + Sync {
    /// Returns the value that was kept of a kind.
    fn find(&self, what: &'static str, mark: &Mark) -> Option<Vec<u8>>;

    /// Keeps values for later runs, once the answer of this one is out.
    fn keep(&self, what: &'static str, values: Values);
}

/// How often verdicts and margins were made, taken from another state of this run, or found as an earlier run made them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Effort {
    /// Verdicts of one panel on one subject, from evidence, that were judged.
    pub judged: usize,
    /// Such verdicts that another state of this run has.
    pub shared: usize,
    /// Such verdicts that an earlier run judged.
    pub found: usize,
    /// Panels whose margins were computed.
    pub computed: usize,
    /// Panels whose margins an earlier run computed.
    pub recalled: usize,
}

/// A record of whatever type.
type Held = Arc<dyn Any + Send + Sync>;

/// What was worked out earlier, the marks that it is asked by, and how much of it there was.
#[derive(Default)]
pub(super) struct Recalled {
    earlier: Option<Arc<dyn Earlier>>,
    /// By where the records lie; held, so that nothing else comes to lie there.
    marks: RwLock<HashMap<usize, (Held, Mark)>>,
    pub(super) judged: AtomicUsize,
    pub(super) shared: AtomicUsize,
    pub(super) found: AtomicUsize,
    pub(super) computed: AtomicUsize,
    pub(super) recalled: AtomicUsize,
}

impl Debug for Recalled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Recalled")
    }
}

impl Recalled {
    pub(super) fn new(earlier: Option<Arc<dyn Earlier>>) -> Self {
        Self { earlier, ..Self::default() }
    }

    /// Whether anything earlier is asked for.
    pub(super) fn asks(&self) -> bool {
        self.earlier.is_some()
    }

    /// Returns the mark of a record; one that many ask for is made once.
    pub(super) fn mark<T: Debug + Send + Sync + 'static>(&self, one: &Arc<T>) -> Mark {
        let at = Arc::as_ptr(one).addr();
        let known = self.marks.read().unwrap_or_else(PoisonError::into_inner).get(&at).map(|(_, mark)| *mark);
        if let Some(known) = known {
            return known;
        }
        let mark = Mark::of(&**one);
        let held: Held = Arc::<T>::clone(one);
        self.marks.write().unwrap_or_else(PoisonError::into_inner).insert(at, (held, mark));
        mark
    }

    /// Returns what an earlier run kept; what can't be read is as good as nothing.
    pub(super) fn find<T: DeserializeOwned>(&self, what: &'static str, mark: &Mark) -> Option<T> {
        postcard::from_bytes(&self.earlier.as_ref()?.find(what, mark)?).ok()
    }

    /// Keeps values for later runs.
    pub(super) fn keep(&self, what: &'static str, values: Values) {
        if let Some(earlier) = &self.earlier {
            earlier.keep(what, values);
        }
    }

    /// Returns the work so far.
    pub(super) fn effort(&self) -> Effort {
        let of = |count: &AtomicUsize| count.load(Ordering::Relaxed);
        Effort {
            judged: of(&self.judged),
            shared: of(&self.shared),
            found: of(&self.found),
            computed: of(&self.computed),
            recalled: of(&self.recalled),
        }
    }
}

/// Counts one piece of work.
pub(super) fn count(counter: &AtomicUsize) {
    counter.fetch_add(1, Ordering::Relaxed);
}

/// The form that a value is kept in; empty where it has none, which is never read back.
pub(super) fn kept(value: &impl Serialize) -> Vec<u8> {
    postcard::to_stdvec(value).unwrap_or_default()
}

/// A word that stands in the program itself; by another name, as serde takes the type's own for one to borrow.
pub type Word = &'static str;

/// Such words, read back as what they are.
pub(super) mod word {
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};
    use std::collections::BTreeSet;
    use std::sync::{Mutex, PoisonError};

    /// The program has some dozens of such words; whatever is more was put into the store by somebody else.
    const MOST: usize = 512;
    const LONGEST: usize = 128;

    static KNOWN: Mutex<BTreeSet<&'static str>> = Mutex::new(BTreeSet::new());

    fn known(word: &str) -> Option<&'static str> {
        let mut all = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = all.get(word) {
            return Some(known);
        }
        if all.len() >= MOST || word.len() > LONGEST {
            return None;
        }
        // Each word once, and never given back: as with those of the program.
        let own: &'static str = Box::leak(word.to_string().into_boxed_str());
        all.insert(own);
        Some(own)
    }

    pub fn serialize<S: Serializer>(word: &&'static str, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(word)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<&'static str, D::Error> {
        let word = String::deserialize(deserializer)?;
        known(&word).ok_or_else(|| D::Error::custom("no word of this program"))
    }

    /// The same where there may be none.
    pub mod maybe {
        use super::{Deserialize, Deserializer, Error, Serializer, known};

        pub fn serialize<S: Serializer>(
            word: &Option<&'static str>,
            serializer: S,
        ) -> Result<S::Ok, S::Error> {
            match word {
                Some(word) => serializer.serialize_some(word),
                None => serializer.serialize_none(),
            }
        }

        pub fn deserialize<'de, D: Deserializer<'de>>(
            deserializer: D,
        ) -> Result<Option<&'static str>, D::Error> {
            match Option::<String>::deserialize(deserializer)? {
                Some(word) => {
                    known(&word).map(Some).ok_or_else(|| D::Error::custom("no word of this program"))
                }
                None => Ok(None),
            }
        }
    }
}
