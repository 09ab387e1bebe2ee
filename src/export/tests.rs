//! Laws of the list itself; what the rows say is held in `tests/export.rs`.

use super::*;
use std::collections::BTreeSet;

#[test]
fn the_list_is_sound() {
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for table in TABLES {
        let keys: BTreeSet<String> = table.columns.iter().map(Column::key).collect();
        assert_eq!(keys.len(), table.columns.len(), "{}: a column twice", table.name);
        assert!(!table.key.is_empty() && table.meaning.ends_with('.'), "{}", table.name);
        for key in table.key {
            let own = table.columns.iter().find(|own| own.name == *key);
            assert!(
                own.is_some_and(|own| own.always && own.unit.is_empty()),
                "{}.{key} is a key",
                table.name
            );
        }
        seen.insert(table.name);
        for own in table.columns {
            assert!(own.meaning.ends_with('.') && !own.meaning.contains('|'), "{}.{}", table.name, own.name);
            if let Some(names) = own.names {
                assert!(seen.contains(names), "{}.{} names {names}, which comes later", table.name, own.name);
                let other = TABLES.iter().find(|other| other.name == names).unwrap();
                assert_eq!(other.key.len(), 1, "{names} has no single key");
            }
            assert!(own.unit.is_empty() || own.kind == Type::Number, "{}.{}", table.name, own.name);
        }
    }
    assert_eq!(seen.len(), TABLES.len());
}

#[test]
fn keys_and_headings_carry_units() {
    let layers = TABLES.iter().find(|table| table.name == "layers").unwrap();
    let areal = layers.columns.iter().find(|own| own.name == "areal").unwrap();
    assert_eq!((areal.key().as_str(), areal.heading().as_str()), ("areal_g_m2", "areal [g/m2]"));
}
