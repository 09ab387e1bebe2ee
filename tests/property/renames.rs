//! Names: what a record is called plays no part.

use super::config;
use super::judging::{Seen, Verdicts, close, load, try_load};
use super::programme::{Records, plans, proved};
use proptest::prelude::*;
use serde_json::{Value, json};

/// Folders whose records are renamed, and the keys of records that refer to one of them.
pub(crate) const REFERENCES: [(&str, &[&str]); 9] = [
    ("materials", &["material", "adhesive", "part"]),
    ("processes", &["process"]),
    ("tools", &["tool", "from"]),
    ("finishes", &["finish"]),
    ("recipes", &["recipe"]),
    ("panels", &["panel"]),
    ("showings", &["showing", "after", "rests_on", "from"]),
    ("evidence", &["baseline", "supersedes"]),
    ("", &[]),
];

/// Renames a record and every reference to it; labels of conformed evidence stay behind.
pub(crate) fn renamed(records: &Records, folder: &str, old: &str, new: &str) -> Records {
    let mut all = records.clone();
    let (from, to) = (format!("{folder}/{old}.yaml"), format!("{folder}/{new}.yaml"));
    let mut own = all.values.remove(&from).unwrap();
    if folder == "materials" && own.get("fibre").is_none() && own.get("designation").is_none() {
        // What it is called is what it is, unless the record says what it was called.
        own["formerly"] = json!([old]);
    }
    all.values.insert(to.clone(), own);
    if let Some(block) = all.conformed.remove(&from) {
        all.conformed.insert(to, block);
    }
    let keys = REFERENCES.iter().find(|(name, _)| *name == folder).unwrap().1;
    for (path, value) in &mut all.values {
        let label = value.as_object_mut().and_then(|record| record.remove("subject"));
        refer(value, keys, old, new);
        if let Some(label) = label {
            assert!(path.starts_with("evidence/"));
            value["subject"] = label;
        }
    }
    all
}

fn refer(value: &mut Value, keys: &[&str], old: &str, new: &str) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                match value {
                    Value::String(text) if keys.contains(&key.as_str()) && text == old => {
                        *text = new.to_string()
                    }
                    Value::Array(list) if keys.contains(&key.as_str()) => {
                        for entry in list.iter_mut().filter(|entry| *entry == old) {
                            *entry = json!(new);
                        }
                    }
                    _ => refer(value, keys, old, new),
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|value| refer(value, keys, old, new)),
        _ => {}
    }
}

/// The verdicts with a name put for another wherever it stands as a whole word.
fn called(verdicts: &Verdicts, old: &str, new: &str) -> Verdicts {
    let word = |text: &str| -> String {
        let part = |letter: char| letter.is_ascii_alphanumeric() || letter == '-';
        let mut out = String::new();
        for piece in text.split_inclusive(|letter| !part(letter)) {
            let (own, end) = piece.split_at(piece.rfind(|letter| !part(letter)).unwrap_or(piece.len()));
            out.push_str(if own == old { new } else { own });
            out.push_str(end);
        }
        out
    };
    verdicts
        .iter()
        .map(|(key, (verdict, asks, panels))| {
            let panels = panels.iter().map(|(panel, own)| (word(panel), *own)).collect();
            // The faces of a bond stand in the order of their text.
            let key = word(key);
            let key = match key.rsplit_once(':') {
                Some((start, faces)) => {
                    let mut faces: Vec<&str> = faces.split('+').collect();
                    faces.sort_unstable();
                    format!("{start}:{}", faces.join("+"))
                }
                None => key,
            };
            (key, (*verdict, *asks, panels))
        })
        .collect()
}

proptest! {
    #![proptest_config(config(40))]

    #[test]
    fn a_name_is_no_property(plan in plans(), folder in 0..8_usize, at in any::<usize>(), early in any::<bool>()) {
        let base = proved(&plan);
        let (folder, _) = REFERENCES[folder];
        let ids = base.ids(folder);
        let Some(old) = at.checked_rem(ids.len()).map(|at| &ids[at]) else {
            return Err(TestCaseError::reject("no such record"));
        };
        // A name that sorts before all others, or behind.
        let new = if early { "aa-one" } else { "zz-one" };
        let other = renamed(&base, folder, old, new);
        let before = Seen::of(load(&base));
        let after = Seen::of(try_load(&other).map_err(|faults| TestCaseError::fail(format!("{faults:#?}")))?);
        prop_assert_eq!(after.verdicts(), called(&before.verdicts(), old, new), "{}/{}", folder, old);
        let found = before.to(&after);
        prop_assert!(close(found.mass.0, found.mass.1));
        prop_assert!(found.duties.is_empty(), "{folder}/{old}: {:#?}", found.duties);
        prop_assert!(found.ended.is_empty(), "{folder}/{old}: {:#?}", found.ended);
        prop_assert!(found.panels.is_empty(), "{folder}/{old}: {:#?}", found.panels);
        prop_assert!(found.changes.iter().all(|change| change.facet.is_none()), "{:#?}", found.changes);
    }
}
