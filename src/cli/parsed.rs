//! Records that earlier runs parsed, found by the blobs of their bytes: of a ledger that was read before, only what
//! changed since is parsed.
//!
//! They are kept in pieces, each with the blobs whose ids begin alike, so that a change of few records has few pieces
//! written anew. What a piece says of a blob is true wherever that blob is read by this build.

use super::memory::{BUILD, Memory};
use crate::ledger::{Counts, MemoryRecall, Recall, Remembered, Work, WritesDown, Written, written_anew};
use crate::record::RecordKind;
use crate::source::Place;
use crate::store::{Kept, Key};
use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::io::{Read, Write};
use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// What the store calls the pieces.
pub(super) const KEPT: &str = "parsed";

/// How many pieces there are.
const PIECES: usize = 64;

/// Digits of a blob's id.
const DIGITS: usize = 40;

/// The bytes of all pieces together that stand unpacked at once: what is kept of a repository that somebody sent may be
/// anything.
const MOST: u64 = 512 * 1024 * 1024;

/// Above so many bytes they are given back once a state is read. Of states one after the other few pieces are asked for, which
/// had better stay.
const MUCH: u64 = 8 * 1024 * 1024;

/// A kind of record and the id of the blob that it was read from.
type Name = (String, String);

/// One piece, as it was kept.
#[derive(Default)]
struct Piece {
    all: Arc<[u8]>,
    /// Where each record stands.
    places: HashMap<Name, Range<usize>>,
    /// Their names in the order in which they stand, the one used last first.
    order: Vec<Name>,
}

impl Piece {
    /// Reads a piece, and takes its bytes from those that are `left` for others; none of it where it can't be read or is
    /// larger than that.
    fn of(packed: &[u8], left: &AtomicU64) -> Self {
        let most = left.load(Ordering::Relaxed);
        let mut all = Vec::new();
        let read = ZlibDecoder::new(packed).take(most.saturating_add(1)).read_to_end(&mut all);
        let (mut places, mut order) = (HashMap::new(), Vec::new());
        let mut at = 0;
        while at < all.len() {
            let Some((name, place)) = entry(&all, at) else { return Self::default() };
            at = place.end;
            order.push(name.clone());
            places.insert(name, place);
        }
        let own = Self { all: all.into(), places, order };
        let takes = |left: u64| left.checked_sub(own.size());
        let fits = read.is_ok() && left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, takes).is_ok();
        if fits { own } else { Self::default() }
    }

    fn size(&self) -> u64 {
        u64::try_from(self.all.len()).unwrap_or(u64::MAX)
    }

    fn text(&self, name: &Name) -> Option<&[u8]> {
        self.all.get(self.places.get(name)?.clone())
    }
}

/// A piece that is being written: of each record the kind, a space, the blob, a line end, the length in four bytes and the
/// text.
struct Packing(ZlibEncoder<Vec<u8>>);

impl Packing {
    fn add(&mut self, (kind, blob): &Name, text: &[u8]) -> Option<()> {
        let length = u32::try_from(text.len()).ok()?;
        self.0.write_all(format!("{kind} {blob}\n").as_bytes()).ok()?;
        self.0.write_all(&length.to_le_bytes()).ok()?;
        self.0.write_all(text).ok()
    }
}

/// The name of the record that begins at a place, and where its text stands.
fn entry(all: &[u8], at: usize) -> Option<(Name, Range<usize>)> {
    let rest = all.get(at..)?;
    let end = rest.iter().position(|byte| *byte == b'\n')?;
    let (kind, blob) = std::str::from_utf8(rest.get(..end)?).ok()?.split_once(' ')?;
    let length = u32::from_le_bytes(rest.get(end + 1..end + 5)?.try_into().ok()?);
    let begin = at + end + 5;
    let place = begin..begin.checked_add(usize::try_from(length).ok()?)?;
    all.get(place.clone())?;
    Some(((kind.to_string(), blob.to_string()), place))
}

/// The piece that a blob belongs to; `None` for what is no id of a blob.
fn piece_of(blob: &str) -> Option<usize> {
    let is_id = blob.len() == DIGITS && blob.bytes().all(|byte| byte.is_ascii_hexdigit());
    let begin = usize::from_str_radix(blob.get(..2)?, 16).ok().filter(|_| is_id)?;
    Some(begin % PIECES)
}

fn key(piece: usize) -> Key {
    Key::of(&[KEPT, BUILD, &piece.to_string()])
}

/// The pieces of a place.
struct Pieces {
    memory: Arc<Memory>,
    place: Place,
    left: AtomicU64,
    /// Those that are unpacked.
    read: [Mutex<Option<Arc<Piece>>>; PIECES],
    /// What was taken from each.
    used: [Mutex<BTreeSet<Name>>; PIECES],
    /// What each lacks.
    new: [Mutex<BTreeMap<Name, WritesDown>>; PIECES],
}

impl Pieces {
    fn piece(&self, at: usize) -> Option<Arc<Piece>> {
        let mut own = self.read.get(at)?.lock().unwrap_or_else(PoisonError::into_inner);
        let read = || {
            let packed = self.memory.find(&self.place, &key(at));
            Arc::new(packed.map(|packed| Piece::of(&packed, &self.left)).unwrap_or_default())
        };
        Some(Arc::clone(own.get_or_insert_with(read)))
    }

    /// Gives the room of the pieces back where it is much: records are remembered as such, and whoever asks for others has
    /// theirs unpacked again.
    fn give_back(&self) {
        if MOST.saturating_sub(self.left.load(Ordering::Relaxed)) > MUCH {
            (0..PIECES).for_each(|at| self.give_back_one(at));
        }
    }

    fn give_back_one(&self, at: usize) {
        let Some(own) = self.read.get(at) else { return };
        let piece = own.lock().unwrap_or_else(PoisonError::into_inner).take();
        self.left.fetch_add(piece.map_or(0, |piece| piece.size()), Ordering::Relaxed);
    }

    /// A piece to which something was added, as it is kept from now on: with all that this run used, and of the rest what
    /// was used last.
    fn anew(&self, at: usize) -> Option<Kept> {
        let new = std::mem::take(&mut *self.new.get(at)?.lock().unwrap_or_else(PoisonError::into_inner));
        if new.is_empty() {
            return None;
        }
        let (piece, used) =
            (self.piece(at)?, self.used.get(at)?.lock().unwrap_or_else(PoisonError::into_inner));
        let mut packing = Packing(ZlibEncoder::new(Vec::new(), Compression::fast()));
        let mut count = 0;
        for (name, how) in new {
            if let Some(text) = how() {
                packing.add(&name, &text)?;
                count += 1;
            }
        }
        let (used, rest): (Vec<&Name>, Vec<&Name>) =
            piece.order.iter().partition(|name| used.contains(*name));
        // A branch that is left may be come back to; what nobody uses goes little by little.
        let most = (count + used.len()).max(rest.len() - rest.len().div_ceil(8));
        for name in used.into_iter().chain(rest.into_iter().take(most)) {
            packing.add(name, piece.text(name)?)?;
        }
        self.give_back_one(at);
        let about = json!({ "build": BUILD }).to_string();
        Some(Kept { key: key(at), what: KEPT.to_string(), about, value: packing.0.finish().ok()? })
    }
}

/// What remembers records for as long as the program runs, and asks for them what earlier runs kept once it is told where.
#[derive(Default)]
pub(super) struct Parsed {
    own: MemoryRecall,
    pieces: OnceLock<Arc<Pieces>>,
}

impl Parsed {
    /// Asks from now on what the store of a place has.
    pub(super) fn ask(&self, memory: &Arc<Memory>, place: &Place) {
        if !memory.is_allowed() || Memory::common(place).is_none() {
            return;
        }
        self.pieces.get_or_init(|| {
            let pieces = Arc::new(Pieces {
                memory: Arc::clone(memory),
                place: place.clone(),
                left: AtomicU64::new(MOST),
                read: [const { Mutex::new(None) }; PIECES],
                used: [const { Mutex::new(BTreeSet::new()) }; PIECES],
                new: [const { Mutex::new(BTreeMap::new()) }; PIECES],
            });
            // Each by itself, so that they need not all stand in memory at once.
            for at in 0..PIECES {
                let later = Arc::clone(&pieces);
                memory.keep_afterwards(place, Box::new(move || later.anew(at).into_iter().collect()));
            }
            pieces
        });
    }

    /// Gives back what is not needed where a state is read and another may come.
    pub(super) fn give_back(&self) {
        if let Some(pieces) = self.pieces.get() {
            pieces.give_back();
        }
    }

    /// Forgets the records of states that nobody holds any more.
    pub(super) fn forget_others(&self) {
        self.own.forget_others();
    }

    /// What remembers for as long as the program runs alone: looking for few records in the pieces takes longer than
    /// parsing them.
    pub(super) fn alone(&self) -> &dyn Recall {
        &self.own
    }
}

impl Recall for Parsed {
    fn find(&self, blob: &str, what: &'static str) -> Option<Remembered> {
        self.own.find(blob, what)
    }

    fn keep(&self, blob: &str, what: &'static str, value: Remembered) {
        self.own.keep(blob, what, value);
    }

    fn written(&self, blob: &str, what: &'static str) -> Option<Written> {
        let pieces = self.pieces.get()?;
        let own = piece_of(blob)?;
        let piece = pieces.piece(own)?;
        let name = (what.to_string(), blob.to_string());
        let at = piece.places.get(&name)?.clone();
        pieces.used.get(own)?.lock().unwrap_or_else(PoisonError::into_inner).insert(name);
        Some(Written { all: Arc::clone(&piece.all), at })
    }

    fn write(&self, blob: &str, what: &'static str, how: WritesDown) {
        let new = self.pieces.get().zip(piece_of(blob)).and_then(|(pieces, at)| pieces.new.get(at));
        if let Some(new) = new {
            let name = (what.to_string(), blob.to_string());
            new.lock().unwrap_or_else(PoisonError::into_inner).insert(name, how);
        }
    }

    fn writes(&self) -> bool {
        self.pieces.get().is_some()
    }

    fn count(&self, work: Work) {
        self.own.count(work);
    }

    fn counts(&self) -> Counts {
        self.own.counts()
    }
}

/// Whether a piece says what is read now of its blobs, as far as the repository or the work tree still have them; `None`
/// where none is left.
pub(super) fn verified(bytes: &[u8], blob: impl Fn(&str) -> Option<Vec<u8>>) -> Option<bool> {
    let piece = Piece::of(bytes, &AtomicU64::new(MOST));
    if piece.order.is_empty() {
        return Some(false);
    }
    let mut any = None;
    for name in &piece.order {
        let Some(bytes) = blob(&name.1) else { continue };
        let anew = RecordKind::by_word(&name.0).and_then(|kind| written_anew(kind, &bytes));
        if anew.as_deref() != piece.text(name) {
            return Some(false);
        }
        any = Some(true);
    }
    any
}

#[cfg(test)]
mod tests {
    use super::*;

    fn packed(bytes: &[u8]) -> Vec<u8> {
        let mut packing = ZlibEncoder::new(Vec::new(), Compression::fast());
        packing.write_all(bytes).unwrap();
        packing.finish().unwrap()
    }

    fn piece(records: &[(&str, &str)]) -> Vec<u8> {
        let mut packing = Packing(ZlibEncoder::new(Vec::new(), Compression::fast()));
        for (blob, text) in records {
            packing.add(&("panel".to_string(), blob.repeat(DIGITS)), text.as_bytes()).unwrap();
        }
        packing.0.finish().unwrap()
    }

    #[test]
    fn a_piece_is_read_as_it_was_packed_and_not_at_all_where_anything_is_wrong() {
        let left = AtomicU64::new(MOST);
        let packed = piece(&[("a", "first"), ("b", "")]);
        let read = Piece::of(&packed, &left);
        let name = |blob: &str| ("panel".to_string(), blob.repeat(DIGITS));
        assert_eq!(read.order, [name("a"), name("b")]);
        assert_eq!((read.text(&name("a")), read.text(&name("b"))), (Some(&b"first"[..]), Some(&b""[..])));
        for length in 0..packed.len() {
            assert!(Piece::of(&packed[..length], &left).order.is_empty(), "{length}");
        }
    }

    #[test]
    fn pieces_that_unpack_to_more_than_is_left_are_none() {
        // 64 MiB of nothing are 64 KiB when packed; a piece of such records would be read otherwise.
        let mut bytes = format!("panel {}\n", "a".repeat(DIGITS)).into_bytes();
        bytes.extend_from_slice(&(64_u32 << 20).to_le_bytes());
        bytes.resize(bytes.len() + (64 << 20), b' ');
        let bomb = packed(&bytes);
        assert!(bomb.len() < 1 << 20, "{}", bomb.len());
        let left = AtomicU64::new(100 << 20);
        assert_eq!(Piece::of(&bomb, &left).order.len(), 1);
        assert_eq!(Piece::of(&bomb, &left).order.len(), 0);
        assert!(left.load(Ordering::Relaxed) < 40 << 20);
    }

    #[test]
    fn a_piece_that_is_damaged_takes_no_room_from_others() {
        let left = AtomicU64::new(MOST);
        let whole = piece(&[("a", "first"), ("b", "second")]);
        for length in 0..whole.len() {
            Piece::of(&whole[..length], &left);
        }
        Piece::of(&packed(b"no record at all"), &left);
        assert_eq!(left.load(Ordering::Relaxed), MOST);
        let read = Piece::of(&whole, &left);
        assert_eq!(left.load(Ordering::Relaxed), MOST - read.size());
    }
}
