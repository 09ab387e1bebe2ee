//! What earlier runs kept and this one may use; what this one keeps once its answer is out.

use super::context::Context;
use crate::article::ArticleError;
use crate::ledger::Ledger;
use crate::qualify::earlier::{Earlier, Mark, Values};
use crate::qualify::judge::Detail;
use crate::qualify::verdict::{Evaluation, evaluate_after};
use crate::source::{Glance, Place, Stamps};
use crate::store::{Kept, Key, Store, Trouble};
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// The sources that this program was built from: what another build kept is not asked for.
pub const BUILD: &str = env!("BONDLINE_BUILD");

/// Asked when the answer is out: whether what a value was worked out from is still there as it was.
pub type Still = Box<dyn FnOnce() -> bool + Send>;

/// What is worked out only when the answer is out.
pub type Afterwards = Box<dyn FnOnce() -> Vec<Kept> + Send>;

/// The store as one run sees it.
pub struct Memory {
    is_allowed: bool,
    opened: OnceLock<Option<Mutex<Store>>>,
    later: Mutex<Later>,
}

/// What is left to do when the answer is out.
#[derive(Default)]
pub struct Later {
    common: Option<PathBuf>,
    trouble: Option<Trouble>,
    keep: Vec<(Kept, Still)>,
    afterwards: Vec<Afterwards>,
    used: Vec<Key>,
    work: Vec<String>,
}

/// A question with the state that it was asked of.
#[derive(Debug, Clone)]
pub struct Asked {
    /// By which the answer is found.
    pub key: Key,
    /// The same in words, for whoever works it out again.
    pub about: String,
}

impl Memory {
    /// Returns the store of a run that may use it or not.
    pub fn new(is_allowed: bool) -> Self {
        Self { is_allowed, opened: OnceLock::new(), later: Mutex::new(Later::default()) }
    }

    /// Returns whether the run may use it.
    pub fn is_allowed(&self) -> bool {
        self.is_allowed
    }

    /// Returns where the store of a place is; `None` where there is no repository.
    pub fn common(place: &Place) -> Option<&Path> {
        place.repository().map(crate::source::Repository::common_dir)
    }

    fn with_later<T>(&self, work: impl FnOnce(&mut Later) -> T) -> T {
        work(&mut self.later.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn trouble(&self, trouble: Trouble) {
        self.with_later(|later| later.trouble.get_or_insert(trouble).clone());
    }

    /// Finds what an earlier run kept.
    pub fn find(&self, place: &Place, key: &Key) -> Option<Vec<u8>> {
        let common = Self::common(place).filter(|_| self.is_allowed)?;
        let store = self.opened.get_or_init(|| match Store::to_read(common) {
            Ok(store) => store.map(Mutex::new),
            Err(trouble) => {
                self.trouble(trouble);
                None
            }
        });
        let found = store.as_ref()?.lock().unwrap_or_else(PoisonError::into_inner).find(key);
        match found {
            Ok(found) => {
                let found = found?;
                if !found.is_noted {
                    self.with_later(|later| {
                        later.common = Some(common.to_path_buf());
                        // A piece may be asked for again and again.
                        if !later.used.contains(key) {
                            later.used.push(*key);
                        }
                    });
                }
                Some(found.value)
            }
            Err(trouble) => {
                self.trouble(trouble);
                None
            }
        }
    }

    /// Keeps a value when the answer is out, where `still` says then that it may be kept.
    pub fn keep(&self, place: &Place, kept: Kept, still: Still) {
        let Some(common) = Self::common(place).filter(|_| self.is_allowed) else { return };
        self.with_later(|later| {
            later.common = Some(common.to_path_buf());
            later.keep.push((kept, still));
        });
    }

    /// Works values out when the answer is out, and keeps them.
    pub fn keep_afterwards(&self, place: &Place, afterwards: Afterwards) {
        let Some(common) = Self::common(place).filter(|_| self.is_allowed) else { return };
        self.with_later(|later| {
            later.common = Some(common.to_path_buf());
            later.afterwards.push(afterwards);
        });
    }

    /// Says how an answer was come by, to whoever asks by the variable `BONDLINE_WORK`.
    pub fn work(&self, words: String) {
        if std::env::var_os("BONDLINE_WORK").is_some_and(|value| !value.is_empty()) {
            self.with_later(|later| later.work.push(words));
        }
    }

    /// Says on `err` where the store can't be used and will not mend itself unseen.
    pub fn note(&self, err: &mut dyn Write) {
        for words in self.with_later(|later| std::mem::take(&mut later.work)) {
            let _ = writeln!(err, "work: {words}");
        }
        let trouble = self.with_later(|later| later.trouble.clone()).filter(Trouble::matters);
        if let Some(trouble) = trouble {
            let help = match trouble {
                Trouble::Damaged => "what is kept next begins a new one",
                _ => "`bondline store status` says where it is",
            };
            // Memory takes every byte.
            let _ = writeln!(err, "note: the store of earlier answers is not used: {trouble}; {help}");
        }
    }

    /// Takes what is left to do.
    pub fn later(&self) -> Later {
        self.with_later(std::mem::take)
    }

    /// Finds what a work tree was found to be when it looked as it does now, so that none of its files need be looked up
    /// and the index need not be read.
    pub fn glanced(&self, place: &Place) -> Glanced {
        if !self.is_allowed {
            return Glanced::default();
        }
        let Some(glance) = place.glance().filter(Glance::is_settled) else { return Glanced::default() };
        let found = self.find(place, &glance_key(place));
        let kept = found.and_then(|bytes| serde_json::from_slice::<(String, String)>(&bytes).ok());
        let identity = kept.filter(|(text, _)| text == glance.text()).map(|(_, identity)| identity);
        if identity.is_some() {
            self.work("the work tree looks as it did".to_string());
        }
        Glanced { glance: Some(glance), identity }
    }

    /// Keeps what a work tree was found to be since `glanced`, where it still looks the same when the answer is out.
    pub fn keep_glance(&self, place: &Place, glanced: Glanced, identity: &str) {
        let Glanced { glance: Some(glance), identity: before } = glanced else { return };
        if before.as_deref() == Some(identity) {
            return;
        }
        let Ok(value) = serde_json::to_vec(&(glance.text(), identity)) else { return };
        let about = json!({ "build": BUILD, "root": place.root().display().to_string() }).to_string();
        let kept = Kept { key: glance_key(place), what: GLANCE.to_string(), about, value };
        let at = place.clone();
        self.keep(place, kept, Box::new(move || at.glance().is_some_and(|now| now == glance)));
    }

    /// Finds what the files of a work tree looked like.
    pub fn stamps(&self, place: &Place) -> Stamps {
        let found = self.find(place, &stamps_key(place));
        found.map(|bytes| Stamps::from_bytes(&bytes)).unwrap_or_default()
    }

    /// Keeps them, where anything was learnt.
    pub fn keep_stamps(&self, place: &Place, stamps: &Stamps) {
        if stamps.is_new() {
            let about = place.root().display().to_string();
            let value = stamps.to_bytes();
            let kept = Kept { key: stamps_key(place), what: STAMPS.to_string(), about, value };
            self.keep(place, kept, Box::new(|| true));
        }
    }
}

/// The verdicts and margins that the store of a place has.
struct Worked {
    memory: Arc<Memory>,
    place: Place,
}

/// Returns what verdicts and margins are found by.
pub(super) fn worked_key(what: &str, mark: &Mark) -> Key {
    Key::of(&[what, BUILD, &mark.text()])
}

impl Earlier for Worked {
    fn find(&self, what: &'static str, mark: &Mark) -> Option<Vec<u8>> {
        self.memory.find(&self.place, &worked_key(what, mark))
    }

    fn keep(&self, what: &'static str, values: Values) {
        self.memory.keep_afterwards(
            &self.place,
            Box::new(move || {
                let about = json!({ "build": BUILD }).to_string();
                let kept = |(mark, value): (Mark, Vec<u8>)| Kept {
                    key: worked_key(what, &mark),
                    what: what.to_string(),
                    about: about.clone(),
                    value,
                };
                values().into_iter().filter(|(_, value)| !value.is_empty()).map(kept).collect()
            }),
        );
    }
}

/// How a work tree looks, and what it was found to be when it looked so before.
#[derive(Default)]
pub struct Glanced {
    glance: Option<Glance>,
    /// The [`crate::source::Snapshot::identity`] of the work tree.
    pub identity: Option<String>,
}

/// What the store calls how a work tree looked.
pub const GLANCE: &str = "glance";

fn glance_key(place: &Place) -> Key {
    Key::of(&[GLANCE, BUILD, &place.root().to_string_lossy()])
}

/// Whether what was kept of a glance is what the files give; `None` where they look otherwise now.
pub fn verified_glance(place: &Place, about: &serde_json::Value, kept: &[u8]) -> Option<bool> {
    if about.get("root").and_then(serde_json::Value::as_str) != place.root().to_str() {
        return None;
    }
    let Ok((text, identity)) = serde_json::from_slice::<(String, String)>(kept) else { return Some(false) };
    place.glance().filter(|now| now.text() == text)?;
    let now = place.work_tree().ok()?.identity(&mut Stamps::default());
    Some(now.as_ref() == Some(&identity))
}

/// What the store calls the stamps of a work tree.
pub const STAMPS: &str = "stamps";

fn stamps_key(place: &Place) -> Key {
    Key::of(&[STAMPS, &place.root().to_string_lossy()])
}

/// Bytes that are written in one go.
const AT_ONCE: usize = 16 * 1024 * 1024;

fn keep_now(common: &Path, all: &[Kept], used: &[Key], anew: bool) {
    if all.is_empty() && used.is_empty() {
        return;
    }
    let kept = Store::to_write(common, anew).and_then(|mut store| store.keep(all, used));
    if kept == Err(Trouble::Damaged) {
        // Some page that the beginning does not show; once more, from nothing.
        let _ = Store::to_write(common, true).and_then(|mut store| store.keep(all, &[]));
    }
}

impl Later {
    /// Keeps what may be kept. Where that can't be done nothing is lost but time.
    pub fn carry_out(self) {
        let Self { common: Some(common), trouble, keep, afterwards, used, .. } = self else { return };
        let is_damaged = trouble == Some(Trouble::Damaged);
        if trouble.is_some() && !is_damaged {
            return;
        }
        let mut all: Vec<Kept> =
            keep.into_iter().filter_map(|(kept, still)| still().then_some(kept)).collect();
        let (mut used, mut anew) = (used, is_damaged);
        for work in afterwards {
            all.extend(work());
            // What a large ledger has to keep need not all stand in memory beside it.
            if all.iter().map(|one| one.value.len()).sum::<usize>() > AT_ONCE {
                keep_now(&common, &std::mem::take(&mut all), &std::mem::take(&mut used), anew);
                anew = false;
            }
        }
        keep_now(&common, &all, &used, anew);
    }
}

impl Context {
    /// Returns what earlier runs judged and computed at the place that is read from, where it may be asked.
    pub fn earlier(&self) -> Option<Arc<dyn Earlier>> {
        let place = self.read_from().filter(|_| self.memory.is_allowed())?.clone();
        Memory::common(&place)?;
        Some(Arc::new(Worked { memory: Arc::clone(&self.memory), place }))
    }

    /// Judges a ledger, taking what earlier runs judged from the very same.
    ///
    /// # Errors
    /// [`ArticleError`] names a record or figure without which there is no answer.
    pub fn judged(&self, ledger: &Ledger) -> Result<Evaluation, ArticleError> {
        self.judged_in(ledger, Detail::Verdicts)
    }

    /// As [`Context::judged`], with the differences that were allowed where they are asked for.
    ///
    /// # Errors
    /// As [`Context::judged`].
    pub fn judged_in(&self, ledger: &Ledger, detail: Detail) -> Result<Evaluation, ArticleError> {
        // What other ledgers have is read anew each time, and so is what rests on it.
        let earlier = self.earlier().filter(|_| ledger.imports.is_empty());
        let found = evaluate_after(ledger, self.today, detail, earlier)?;
        let effort = found.effort();
        self.memory.work(format!(
            "{} verdicts judged and {} found, margins of {} panels computed and of {} found, for the first state",
            effort.judged, effort.found, effort.computed, effort.recalled
        ));
        Ok(found)
    }

    /// Names a question that is asked of one state: by this build, on this day.
    pub fn asked(&self, what: &str, of: &[(&str, &str)]) -> Asked {
        let mut about = serde_json::Map::new();
        about.insert("build".to_string(), BUILD.into());
        about.insert("day".to_string(), self.today.to_string().into());
        for (name, value) in of {
            about.insert((*name).to_string(), (*value).into());
        }
        let about = serde_json::Value::Object(about).to_string();
        // The build names its sources, and with them the table and the form of configurations.
        Asked { key: Key::of(&[what, &about]), about }
    }
}

/// Whether a work tree, listed anew, is still the same; `stamps` are those of the first look.
pub fn still_is(place: &Place, identity: &str, mut stamps: Stamps) -> bool {
    place.work_tree().is_ok_and(|snapshot| snapshot.identity(&mut stamps).as_deref() == Some(identity))
}
