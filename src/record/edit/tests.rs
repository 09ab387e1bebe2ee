use super::*;
use crate::record::{RecordKind, places, samples};
use proptest::prelude::*;

fn yaml(text: &str) -> Value {
    serde_yaml::from_str(text).unwrap()
}

const RECIPE: &str = "# head\ntitle: A  # about\nlayers:   # from the tool\n  # first comes\n  - {material: a, angle: 45}  # one\n  - id: p2\n    material: b   # two\n    angle: 0\n\n  # last comes\n  - {material: c}\nnotes: |  # long\n  one\n  two\nempty:\nflow: [x, 'y', {k: v}]\nmap: {a: 1, b: 2}\n";

/// Applies and shows the lines that went (-) and came (+).
fn diff(old: &str, new: Result<String, EditError>) -> Vec<String> {
    let new = match new {
        Ok(new) => new,
        Err(error) => return vec![error.to_string()],
    };
    let (a, b): (Vec<&str>, Vec<&str>) = (old.split('\n').collect(), new.split('\n').collect());
    let head = a.iter().zip(&b).take_while(|(a, b)| a == b).count();
    let tail = a[head..].iter().rev().zip(b[head..].iter().rev()).take_while(|(a, b)| a == b).count();
    let gone = a[head..a.len() - tail].iter().map(|line| format!("-{line}"));
    gone.chain(b[head..b.len() - tail].iter().map(|line| format!("+{line}"))).collect()
}

fn set_in(text: &str, route: &str, value: &str) -> Vec<String> {
    diff(text, set(text, route, &yaml(value)))
}

#[test]
fn set_replaces_only_the_value() {
    for (route, value, expected) in [
        ("title", "B c", vec!["-title: A  # about", "+title: B c  # about"]),
        (
            "layers.1.angle",
            "-45",
            vec!["-  - {material: a, angle: 45}  # one", "+  - {material: a, angle: -45}  # one"],
        ),
        ("layers.p2.material", "\"yes\"", vec!["-    material: b   # two", "+    material: \"yes\"   # two"]),
        ("layers.p2.material", "'a: b'", vec!["-    material: b   # two", "+    material: \"a: b\"   # two"]),
        (
            "layers.p2",
            "{material: z}",
            vec!["-  - id: p2", "-    material: b   # two", "-    angle: 0", "+  - {material: z}"],
        ),
        ("layers.3", "null", vec!["-  - {material: c}", "+  - null"]),
        ("notes", "short", vec!["-notes: |  # long", "-  one", "-  two", "+notes: short  # long"]),
        ("notes", "\"a\\nb\"", vec!["-notes: |  # long", "-  one", "-  two", "+notes: \"a\\nb\"  # long"]),
        ("empty", "{a: [1]}", vec!["-empty:", "+empty: {a: [1]}"]),
        ("flow.2", "[1, 2]", vec!["-flow: [x, 'y', {k: v}]", "+flow: [x, [1, 2], {k: v}]"]),
        ("flow.3.k", "120 degC", vec!["-flow: [x, 'y', {k: v}]", "+flow: [x, 'y', {k: 120 degC}]"]),
        ("map.b", "x, y", vec!["-map: {a: 1, b: 2}", "+map: {a: 1, b: \"x, y\"}"]),
        (
            "layers",
            "[]",
            vec![
                "-layers:   # from the tool",
                "-  # first comes",
                "-  - {material: a, angle: 45}  # one",
                "-  - id: p2",
                "-    material: b   # two",
                "-    angle: 0",
                "-",
                "-  # last comes",
                "-  - {material: c}",
                "+layers: []   # from the tool",
            ],
        ),
        ("nothing", "1", vec!["nothing stands at `nothing`"]),
        ("", "1", vec!["the whole record can't be replaced or emptied by an edit"]),
    ] {
        assert_eq!(set_in(RECIPE, route, value), expected, "{route}");
    }
}

#[test]
fn long_lists_of_maps_go_below_their_key() {
    let long = "[{material: cw-200-e1, angle: 45}, {material: cw-200-e1, angle: 0}, {material: cw-200-e1, angle: 90}]";
    assert_eq!(
        set_in(RECIPE, "flow", long),
        [
            "-flow: [x, 'y', {k: v}]",
            "+flow:",
            "+  - {material: cw-200-e1, angle: 45}",
            "+  - {material: cw-200-e1, angle: 0}",
            "+  - {material: cw-200-e1, angle: 90}"
        ]
    );
    assert_eq!(set_in("a: 1  # c\nb: 2", "a", long)[1], "+a:  # c");
    assert_eq!(
        set_in("a:  # c\n  - x\nb: 2", "a", long)[..3],
        ["-  - x", "+  - {material: cw-200-e1, angle: 45}", "+  - {material: cw-200-e1, angle: 0}"]
    );
}

#[test]
fn insert_puts_an_entry_behind_another() {
    let entry = yaml("{material: z, angle: 0}");
    for (route, after, expected) in [
        ("layers", 0, vec!["+  - {material: z, angle: 0}"]),
        ("layers", 1, vec!["+  - {material: z, angle: 0}"]),
        ("layers", 2, vec!["+  - {material: z, angle: 0}"]),
        ("layers", 3, vec!["+  - {material: z, angle: 0}"]),
        ("layers", 4, vec!["`layers` has 3 entries, there is no place behind 4"]),
        ("flow", 0, vec!["-flow: [x, 'y', {k: v}]", "+flow: [{material: z, angle: 0}, x, 'y', {k: v}]"]),
        ("flow", 2, vec!["-flow: [x, 'y', {k: v}]", "+flow: [x, 'y', {material: z, angle: 0}, {k: v}]"]),
        ("flow", 3, vec!["-flow: [x, 'y', {k: v}]", "+flow: [x, 'y', {k: v}, {material: z, angle: 0}]"]),
        ("empty", 0, vec!["-empty:", "+empty: [{material: z, angle: 0}]"]),
        ("map", 0, vec!["`map` is no list"]),
    ] {
        assert_eq!(diff(RECIPE, insert(RECIPE, route, after, &entry)), expected, "{route} {after}");
    }
    // Where exactly: first, and behind the entry with its comment.
    let first = insert(RECIPE, "layers", 0, &entry).unwrap();
    assert!(first.contains("# first comes\n  - {material: z, angle: 0}\n  - {material: a"), "{first}");
    let second = insert(RECIPE, "layers", 1, &entry).unwrap();
    assert!(second.contains("# one\n  - {material: z, angle: 0}\n  - id: p2"), "{second}");
    let third = insert(RECIPE, "layers", 2, &entry).unwrap();
    assert!(third.contains("angle: 0\n  - {material: z, angle: 0}\n\n  # last"), "{third}");
    assert_eq!(insert("l: []", "l", 0, &yaml("1")).unwrap(), "l: [1]");
    assert_eq!(insert("l:\n- a\n- b", "l", 2, &yaml("c")).unwrap(), "l:\n- a\n- b\n- c");
    assert_eq!(insert("l:\r\n- a\r\n- b\r\n", "l", 1, &yaml("c")).unwrap(), "l:\r\n- a\r\n- c\r\n- b\r\n");
    assert_eq!(insert("l:\n- - a\n  - b\n", "l.1", 0, &yaml("c")).unwrap(), "l:\n- - c\n  - a\n  - b\n");
    assert_eq!(insert("l:\n-\n- b\n", "l", 1, &yaml("c")).unwrap(), "l:\n-\n- c\n- b\n");
    assert_eq!(insert("l: [a, # one\n  b]\n", "l", 1, &yaml("c")).unwrap(), "l: [a, c, # one\n  b]\n");
}

#[test]
fn remove_takes_out_and_leaves_the_rest() {
    for (route, expected) in [
        ("layers.1", vec!["-  - {material: a, angle: 45}  # one"]),
        ("layers.2", vec!["-  - id: p2", "-    material: b   # two", "-    angle: 0"]),
        ("layers.3", vec!["-  - {material: c}"]),
        ("layers.1.angle", vec!["-  - {material: a, angle: 45}  # one", "+  - {material: a}  # one"]),
        ("layers.1.material", vec!["-  - {material: a, angle: 45}  # one", "+  - {angle: 45}  # one"]),
        ("layers.2.material", vec!["-    material: b   # two"]),
        ("layers.2.id", vec!["-  - id: p2", "-    material: b   # two", "+  - material: b   # two"]),
        ("layers.3.material", vec!["-  - {material: c}", "+  - {}"]),
        ("notes", vec!["-notes: |  # long", "-  one", "-  two"]),
        ("empty", vec!["-empty:"]),
        ("flow.2", vec!["-flow: [x, 'y', {k: v}]", "+flow: [x, {k: v}]"]),
        ("flow.3", vec!["-flow: [x, 'y', {k: v}]", "+flow: [x, 'y']"]),
        ("", vec!["the whole record can't be replaced or emptied by an edit"]),
    ] {
        assert_eq!(diff(RECIPE, remove(RECIPE, route)), expected, "{route}");
    }
    assert_eq!(remove("l:  # c\n  - a\nb: 1\n", "l.1").unwrap(), "l: []  # c\nb: 1\n");
    assert_eq!(remove("a: 1\nb: 2", "b").unwrap(), "a: 1");
    assert_eq!(remove("a: 1\r\nb: 2\r\n", "a").unwrap(), "b: 2\r\n");
    assert_eq!(remove("a: 1", "a").unwrap_err(), EditError::WholeRecord);
    assert_eq!(remove("l: [a, # one\n  b, # two\n  c]\n", "l.2").unwrap(), "l: [a, # one\n   # two\n  c]\n");
    assert_eq!(remove("l: [a, # one\n  b]\n", "l.2").unwrap(), "l: [a, # one\n  ]\n");
}

#[test]
fn keys_are_added_behind_the_last() {
    let add = |text: &str, route: &str, value: &str| {
        add_key(text, route, "k", &yaml(value)).map_err(|error| error.to_string())
    };
    assert_eq!(add("a: 1", "", "2").unwrap(), "a: 1\nk: 2");
    assert_eq!(add("a: 1\n# end\n", "", "2").unwrap(), "a: 1\nk: 2\n# end\n");
    assert_eq!(
        add("l:\n  - a: 1\n    b: 2 # c\n  - x\n", "l.1", "t").unwrap(),
        "l:\n  - a: 1\n    b: 2 # c\n    k: t\n  - x\n"
    );
    assert_eq!(add("m: {}\n", "m", "t").unwrap(), "m: {k: t}\n");
    assert_eq!(add("m: {a: 1} # c\n", "m", "[x]").unwrap(), "m: {a: 1, k: [x]} # c\n");
    assert_eq!(add("m:\n", "m", "t").unwrap(), "m: {k: t}\n");
    assert_eq!(add("", "", "t").unwrap(), "k: t\n");
    assert_eq!(add("# only\n", "", "t").unwrap(), "# only\nk: t\n");
    assert_eq!(add("k: 1\n", "", "t").unwrap_err(), "`k` is there already");
    assert_eq!(add("m: {k: 1}\n", "m", "t").unwrap_err(), "`m.k` is there already");
    assert_eq!(add("m: [1]\n", "m", "t").unwrap_err(), "`m` is no map");
    assert_eq!(add("\u{feff}a: 1\r\n", "", "2").unwrap(), "\u{feff}a: 1\r\nk: 2\r\n");
}

#[test]
fn blocks_are_written_and_written_again() {
    let text = "kind: test # c\nconformed: {old: 1}   # was\nnotes: x";
    let value = yaml("{form: 1, attributes: {a.b: 1 mm, plies: [x, z]}}");
    let lines = block_lines(&value).unwrap();
    let once = append_block(text, "conformed", &lines).unwrap();
    assert_eq!(
        once,
        "kind: test # c\nconformed:\n  form: 1\n  attributes:\n    a.b: 1 mm\n    plies: [x, z]\nnotes: x"
    );
    assert_eq!(append_block(&once, "conformed", &lines).unwrap(), once);
    assert_eq!(
        append_block("a: 1\r\n# end\r\n", "conformed", &lines).unwrap(),
        "a: 1\r\n# end\r\nconformed:\r\n  form: 1\r\n  attributes:\r\n    a.b: 1 mm\r\n    plies: [x, z]\r\n"
    );
    assert_eq!(append_block("a: 1", "b", &["c: 2".into()]).unwrap(), "a: 1\nb:\n  c: 2\n");
    assert_eq!(append_block("a: 1\n...\n", "b", &["c: 2".into()]).unwrap(), "a: 1\nb:\n  c: 2\n...\n");
    assert_eq!(append_block("a: 1\n", "b", &["c: [".into()]).unwrap_err(), EditError::NotWritable);
    assert_eq!(put(text, "digest", &yaml("'sha256:00'")).unwrap(), format!("{text}\ndigest: sha256:00"));
    assert_eq!(put("digest: old # c\n", "digest", &yaml("new")).unwrap(), "digest: new # c\n");
    assert_eq!(put("a.b: 1\na: {b: 2}\n", "a.b", &yaml("3")).unwrap(), "a.b: 3\na: {b: 2}\n");
}

#[test]
fn what_can_not_be_done_safely_is_refused() {
    // The alias would change as well.
    assert_eq!(
        set_in("a: &x {k: 1}\nb: *x\n", "a.k", "2"),
        ["the text around `a.k` is written in a way that can't be edited safely: change it by hand"]
    );
    assert!(matches!(set("a: [", "a", &Value::Null), Err(EditError::Unreadable(_))));
    assert!(matches!(set("a: 1\na: 2\n", "a", &Value::Null), Err(EditError::Unreadable(_))));
    let tagged = yaml("!t x");
    assert_eq!(set("a: 1", "a", &tagged), Err(EditError::NotWritable));
}

/// All routes of a record.
fn routes(text: &str) -> Vec<String> {
    let index = places(text);
    let mut all = vec![String::new()];
    let mut next = 0;
    // An empty key leads back to its own map.
    while let Some(route) = all.get(next).cloned().filter(|_| next < 200) {
        let children = index.children(&route).into_iter().filter(|child| !child.is_empty());
        all.extend(children.map(|child| if route.is_empty() { child } else { format!("{route}.{child}") }));
        next += 1;
    }
    all
}

#[test]
fn every_value_of_every_sample_can_be_set_and_removed() {
    for kind in RecordKind::ALL.iter().copied().chain([RecordKind::Ledger]) {
        for text in samples::valid(kind) {
            for text in [(*text).to_string(), text.replace('\n', "\r\n"), text.trim_end().to_string()] {
                for route in routes(&text).into_iter().skip(1) {
                    for value in ["x", "[a, {b: c}]", "null"] {
                        let new = set(&text, &route, &yaml(value));
                        assert!(new.is_ok(), "{route} = {value}: {new:?}\n{text}");
                    }
                    let new = remove(&text, &route);
                    assert!(new.is_ok(), "{route}: {new:?}\n{text}");
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_set_keeps_every_byte_before_and_behind(kind in prop::sample::select(RecordKind::ALL.to_vec()), at in proptest::arbitrary::any::<prop::sample::Index>(), word in "\\PC{1,12}", crlf in proptest::arbitrary::any::<bool>()) {
        let text = samples::valid(kind)[0].replace('\n', if crlf { "\r\n" } else { "\n" });
        let routes = routes(&text);
        let route = at.get(&routes);
        let stretch = places(&text).find(route).unwrap();
        let written = &text[stretch.start..stretch.end];
        if let Ok(new) = set(&text, route, &Value::from(word.as_str())) {
            prop_assert!(new.ends_with(&text[stretch.end..]));
            let below = text[..stretch.start].trim_end_matches(' ').ends_with('\n');
            if written.contains('\n') || below {
                // A block goes, and the line end before it.
                let head = places(&text).find_key(route).unwrap();
                let key_line = if head == stretch { stretch.start } else { head.end };
                prop_assert!(new.starts_with(&text[..key_line]));
            } else {
                prop_assert!(new.starts_with(&text[..stretch.start]));
                let middle = &new[stretch.start..new.len() - (text.len() - stretch.end)];
                prop_assert_eq!(serde_yaml::from_str::<Value>(middle).unwrap(), Value::from(word.as_str()));
            }
        } else {
            prop_assert!(route.is_empty());
        }
    }

    #[test]
    fn edits_of_arbitrary_text_never_panic(text in "[ \\-:a-c\\[\\]{},\n\"'#&*|>?é\r]{0,80}", after in 0usize..3) {
        for route in routes(&text).into_iter().take(20) {
            let _ = set(&text, &route, &Value::from("x"));
            let _ = remove(&text, &route);
            let _ = insert(&text, &route, after, &Value::from("x"));
            let _ = add_key(&text, &route, "key", &Value::from("x"));
        }
        let _ = append_block(&text, "key", &["a: 1".to_string()]);
        let _ = put(&text, "a", &Value::from("x"));
    }
}
