use super::*;
use std::os::unix::fs::PermissionsExt;

fn kept(name: &str, bytes: usize) -> Kept {
    Kept { key: Key::of(&[name]), what: "test".to_string(), about: name.to_string(), value: vec![7; bytes] }
}

fn with(all: &[Kept]) -> tempfile::TempDir {
    let common = tempfile::tempdir().unwrap();
    Store::to_write(common.path(), false).unwrap().keep(all, &[]).unwrap();
    common
}

fn find(common: &Path, name: &str) -> Result<Option<Vec<u8>>, Trouble> {
    match Store::to_read(common)? {
        Some(store) => Ok(store.find(&Key::of(&[name]))?.map(|found| found.value)),
        None => Ok(None),
    }
}

#[test]
fn what_is_kept_is_found_by_its_key_alone() {
    let common = with(&[kept("a", 10)]);
    assert_eq!(find(common.path(), "a"), Ok(Some(vec![7; 10])));
    assert_eq!(find(common.path(), "b"), Ok(None));
    assert_ne!(Key::of(&["ab", "c"]), Key::of(&["a", "bc"]));
    let store = Store::to_read(common.path()).unwrap().unwrap();
    assert_eq!(store.shares().unwrap(), [Share { what: "test".to_string(), count: 1, bytes: 139 }]);
    assert_eq!(store.is_sound(), Ok(()));
}

#[test]
fn nothing_is_made_by_asking() {
    let common = tempfile::tempdir().unwrap();
    assert!(Store::to_read(common.path()).unwrap().is_none());
    assert_eq!(std::fs::read_dir(common.path()).unwrap().count(), 0);
    assert_eq!(Store::clear(common.path()), Ok(false));
}

#[test]
fn what_was_not_used_for_longest_goes_first_and_what_is_too_old_goes() {
    let common = tempfile::tempdir().unwrap();
    let mut store = Store::to_write(common.path(), false).unwrap();
    let day = 24 * 3600;
    for (at, name) in ["a", "b", "c", "d"].iter().enumerate() {
        store.keep_at(&[kept(name, 1000)], &[], (1000 + at as u64) * day, LIMIT).unwrap();
    }
    // Used since, so that it stays while those between go; each takes 1129 bytes.
    store.keep_at(&[], &[Key::of(&["a"])], 1004 * day, 2300).unwrap();
    let there = |store: &Store| -> Vec<bool> {
        ["a", "b", "c", "d"].iter().map(|name| store.find(&Key::of(&[name])).unwrap().is_some()).collect()
    };
    assert_eq!(there(&store), [true, false, false, true]);
    store.keep_at(&[], &[Key::of(&["a"])], 1080 * day, LIMIT).unwrap();
    store.keep_at(&[], &[], 1094 * day, LIMIT).unwrap();
    assert_eq!(there(&store), [true, false, false, false]);
    // A clock that went ahead does not keep anything for ever.
    store.keep_at(&[kept("e", 1)], &[], 9000 * day, LIMIT).unwrap();
    store.keep_at(&[], &[], 1095 * day, LIMIT).unwrap();
    store.keep_at(&[], &[], (1096 + 90) * day, LIMIT).unwrap();
    assert_eq!(store.find(&Key::of(&["e"])), Ok(None));
}

#[test]
fn a_use_is_noted_once_in_a_while() {
    let common = with(&[kept("a", 1)]);
    let mut store = Store::to_write(common.path(), false).unwrap();
    let is_noted = |store: &Store| store.find(&Key::of(&["a"])).unwrap().unwrap().is_noted;
    assert!(is_noted(&store));
    store.connection.execute("UPDATE kept SET used = used - 7200", []).unwrap();
    assert!(!is_noted(&store));
    store.keep(&[], &[Key::of(&["a"])]).unwrap();
    assert!(is_noted(&store));
}

#[test]
fn a_damaged_file_is_never_believed_and_is_made_anew_by_the_next_writer() {
    let names: Vec<String> = (0..40).map(|at| format!("value {at}")).collect();
    let all: Vec<Kept> = names.iter().map(|name| kept(name, 700)).collect();
    let file = |common: &Path| file_in(common);
    let whole = {
        let common = with(&all);
        std::fs::read(file(common.path())).unwrap()
    };
    let (mut refused, mut right) = (0, 0);
    for at in (0..whole.len()).step_by(whole.len() / 97) {
        let common = with(&[]);
        let mut bytes = whole.clone();
        bytes[at] ^= 0x55;
        std::fs::write(file(common.path()), &bytes).unwrap();
        for one in &all {
            match find(common.path(), &one.about) {
                Ok(Some(value)) => {
                    assert_eq!(value, one.value, "byte {at}");
                    right += 1;
                }
                Ok(None) => {}
                Err(_) => refused += 1,
            }
        }
        let anew = matches!(find(common.path(), "value 3"), Err(Trouble::Damaged));
        let mut store = Store::to_write(common.path(), anew).unwrap();
        if store.keep(&[kept("after", 3)], &[]) == Err(Trouble::Damaged) {
            drop(store);
            Store::to_write(common.path(), true).unwrap().keep(&[kept("after", 3)], &[]).unwrap();
        }
        assert_eq!(find(common.path(), "after").unwrap(), Some(vec![7; 3]), "byte {at}");
    }
    assert!(refused > 50 && right > 50, "{refused} {right}");
    for length in [0, 1, 100, 512, 4096, 5000, whole.len() / 2] {
        let common = with(&[]);
        std::fs::write(file(common.path()), &whole[..length]).unwrap();
        assert!(
            !matches!(find(common.path(), "value 3"), Ok(Some(value)) if value != vec![7; 700]),
            "{length}"
        );
        Store::to_write(common.path(), true).unwrap().keep(&[kept("after", 3)], &[]).unwrap();
        assert_eq!(find(common.path(), "after").unwrap(), Some(vec![7; 3]), "{length}");
    }
}

#[test]
fn another_program_s_file_and_a_later_format_are_left_alone() {
    let common = with(&[kept("a", 1)]);
    Connection::open(file_in(common.path())).unwrap().pragma_update(None, "user_version", 7).unwrap();
    assert_eq!(find(common.path(), "a"), Err(Trouble::Newer(7)));
    assert_eq!(Store::to_write(common.path(), false).err(), Some(Trouble::Newer(7)));
    let common = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder_in(common.path())).unwrap();
    std::os::unix::fs::symlink("/etc/hostname", file_in(common.path())).unwrap();
    let obstructed = || Trouble::Obstructed(file_in(common.path()).display().to_string());
    assert_eq!(find(common.path(), "a"), Err(obstructed()));
    assert_eq!(Store::to_write(common.path(), true).err(), Some(obstructed()));
}

#[test]
fn who_writes_keeps_nobody_from_reading() {
    let common = with(&[kept("a", 1)]);
    let mut other = Store::to_write(common.path(), false).unwrap();
    let write = other.connection.transaction_with_behavior(TransactionBehavior::Immediate).unwrap();
    write.execute("UPDATE kept SET what = 'x'", []).unwrap();
    assert_eq!(find(common.path(), "a"), Ok(Some(vec![7])));
    let mut own = Store::to_write(common.path(), false).unwrap();
    assert_eq!(own.keep(&[kept("b", 1)], &[]), Err(Trouble::Locked));
    write.commit().unwrap();
    assert_eq!(own.keep(&[kept("b", 1)], &[]), Ok(()));
    let _lock = place::locked(common.path()).unwrap();
    assert_eq!(Store::clear(common.path()), Err(Trouble::Locked));
}

#[test]
fn a_folder_that_can_t_be_written_is_no_damage() {
    let common = tempfile::tempdir().unwrap();
    std::fs::set_permissions(common.path(), std::fs::Permissions::from_mode(0o555)).unwrap();
    // Root may write everywhere.
    if std::fs::write(common.path().join("try"), "").is_err() {
        assert!(matches!(Store::to_write(common.path(), false).err(), Some(Trouble::Barred(_))));
    }
    std::fs::set_permissions(common.path(), std::fs::Permissions::from_mode(0o755)).unwrap();
}
