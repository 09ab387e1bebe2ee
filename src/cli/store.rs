//! `bondline store`.

use super::answers;
use super::args::{StoreArgs, StoreCommand};
use super::check;
use super::context::{Context, Failure, Status};
use super::history_kept;
use super::hook_parts;
use super::memory::{BUILD, GLANCE, Memory, STAMPS, verified_glance, worked_key};
use super::parsed;
use crate::qualify::anew::{self, Anew};
use crate::report::store::{self as view, State, Verified};
use crate::source::{Place, RECORD_LIMIT, Stamps, blob_of};
use crate::store::{Kept, Key, LIMIT, Store, Trouble, file_in};
use serde_json::Value;
use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

pub(super) fn run(context: &mut Context, args: &StoreArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let common = Memory::common(&place).ok_or_else(|| {
        Failure::new(
            format!("`{}` lies in no git repository, so nothing is kept of it", place.root().display()),
            "the store lies beside a repository's objects; `git init` makes one",
        )
    })?;
    let mut cleared = None;
    let mut verified = None;
    match args.what {
        StoreCommand::Status => {}
        StoreCommand::Clear => cleared = Some(Store::clear(common).map_err(|why| unusable(common, &why))?),
        StoreCommand::Verify => verified = Some(verify(context, &place, common)?),
    }
    let state = state(common);
    let differs = verified.as_ref().is_some_and(|verified: &Verified| !verified.differing.is_empty());
    if context.json() {
        writeln!(out, "{:#}", view::json(&state, cleared, verified.as_ref()))?;
    } else {
        write!(out, "{}", view::text(&state, cleared, verified.as_ref(), context.width))?;
    }
    Ok(if differs { Status::Objection } else { Status::Done })
}

/// The failure of a store that can't be used by a command that is about it.
fn unusable(common: &Path, why: &Trouble) -> Failure {
    let help = match why {
        Trouble::Locked => "try again when that process has ended",
        Trouble::Obstructed(_) => "take that away by hand; answers never need a store",
        Trouble::Foreign => "its owner can take it away; answers never need it",
        _ => "take the file away by hand; answers never need it",
    };
    Failure::new(format!("the store `{}` can't be used: {why}", file_in(common).display()), help)
}

fn state(common: &Path) -> State {
    let path = file_in(common).display().to_string();
    let (word, why, shares) =
        match Store::to_read(common).and_then(|store| store.map(|store| store.shares()).transpose()) {
            Ok(Some(shares)) => ("present", None, shares),
            Ok(None) => ("absent", None, Vec::new()),
            Err(trouble) => (trouble.word(), Some(trouble.to_string()), Vec::new()),
        };
    let kept = shares.into_iter().map(|share| (share.what, share.count, share.bytes)).collect();
    State { path, word, why, bytes: Store::size(common), limit: LIMIT, kept }
}

/// Works out anew what is kept, as far as its state is still there.
fn verify(context: &Context, place: &Place, common: &Path) -> Result<Verified, Failure> {
    let mut verified = Verified::default();
    let all = match Store::to_read(common) {
        Ok(None) => return Ok(verified),
        Ok(Some(store)) => store.is_sound().and_then(|()| store.all()),
        Err(why) => Err(why),
    };
    let all = match all {
        Ok(all) => all,
        Err(Trouble::Damaged) => {
            verified.differing.push(("store".to_string(), "the file is damaged".to_string()));
            return Ok(verified);
        }
        Err(why) => return Err(unusable(common, &why)),
    };
    let worked = Worked::default();
    for (kept, holds) in all {
        let name = || (kept.what.clone(), kept.key.text().chars().take(12).collect::<String>());
        match if holds { again(context, place, &kept, &worked)? } else { Some(false) } {
            Some(true) => verified.same += 1,
            Some(false) => verified.differing.push(name()),
            None => verified.gone += 1,
        }
    }
    Ok(verified)
}

/// Whether working it out anew gives the same; `None` where what it was worked out from is no longer there, or
/// another build did it.
fn again(context: &Context, place: &Place, kept: &Kept, worked: &Worked) -> Result<Option<bool>, Failure> {
    if kept.what == STAMPS {
        let here = kept.about == place.root().display().to_string();
        return Ok(
            here.then(|| place.work_tree().is_ok_and(|now| now.agrees(&Stamps::from_bytes(&kept.value))))
        );
    }
    let Ok(about) = serde_json::from_str::<Value>(&kept.about) else { return Ok(Some(false)) };
    let text = |key: &str| about.get(key).and_then(Value::as_str).unwrap_or_default();
    if text("build") != BUILD {
        return Ok(None);
    }
    if kept.what == GLANCE {
        return Ok(verified_glance(place, &about, &kept.value));
    }
    if anew::is_kind(&kept.what) {
        let anew = worked.anew.get_or_init(|| worked_out(context, place));
        return Ok(anew.get(&kept.key).and_then(|own| anew::is_same(&kept.what, &kept.value, own)));
    }
    if kept.what == parsed::KEPT {
        let here = worked.blobs.get_or_init(|| blobs_here(place));
        return Ok(parsed::verified(&kept.value, |id| here.get(id).cloned().or_else(|| place.blob(id))));
    }
    let Ok(day) = crate::record::Day::parse(text("day")) else { return Ok(Some(false)) };
    let mut own = context.standing_in(&context.directory);
    own.today = day;
    match kept.what.as_str() {
        check::KEPT => check::verified(&own, place, &kept.about, &kept.value),
        answers::KEPT => Ok(answers::verified(&own, &kept.about, &kept.value)),
        history_kept::KEPT => Ok(history_kept::verified(&own, place, &kept.about, &kept.value)),
        hook_parts::KEPT => Ok(hook_parts::verified(&own, place, &kept.about, &kept.value)),
        _ => Ok(None),
    }
}

/// What is worked out once for all that is held against it.
#[derive(Default)]
struct Worked {
    anew: OnceCell<BTreeMap<Key, Vec<u8>>>,
    /// What stands in the work tree, by blob.
    blobs: OnceCell<BTreeMap<String, Vec<u8>>>,
}

/// The records of the work tree by the blobs of their bytes, which need not be in the repository.
fn blobs_here(place: &Place) -> BTreeMap<String, Vec<u8>> {
    let Ok(snapshot) = place.work_tree() else { return BTreeMap::new() };
    let read = |path: &str| snapshot.read_limited(path, RECORD_LIMIT).ok();
    let all = snapshot.files().filter_map(|file| read(&file.path));
    all.filter_map(|bytes| Some((blob_of(&bytes)?, bytes.to_vec()))).collect()
}

/// Verdicts and margins of the states that are at hand: what is committed, what is staged, and the work tree. A state that
/// can't be judged gives none.
fn worked_out(context: &Context, place: &Place) -> BTreeMap<Key, Vec<u8>> {
    let mut all = Anew::default();
    let states = [place.head_or_empty().ok(), place.index().ok(), place.work_tree().ok()];
    // Records that were kept as parsed are what is held against this, and no part of it.
    let context = context.without_store();
    for snapshot in states.into_iter().flatten() {
        let loaded = context.read(snapshot);
        let _ = all.add(&loaded.ledger, context.today);
    }
    all.iter().map(|(what, mark, value)| (worked_key(what, mark), value.to_vec())).collect()
}
