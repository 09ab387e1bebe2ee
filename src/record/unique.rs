//! Maps keyed by users' words: a repeated key is an error, where serde would let the last one win.

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Visitor};
use std::collections::BTreeMap;
use std::fmt;
use std::marker::PhantomData;

struct Unique<V>(BTreeMap<String, V>);

impl<'de, V: Deserialize<'de>> Deserialize<'de> for Unique<V> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Keys<V>(PhantomData<V>);
        impl<'de, V: Deserialize<'de>> Visitor<'de> for Keys<V> {
            type Value = BTreeMap<String, V>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map")
            }
            fn visit_unit<E: Error>(self) -> Result<Self::Value, E> {
                Ok(BTreeMap::new())
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut all = BTreeMap::new();
                while let Some(key) = map.next_key::<String>()? {
                    if all.contains_key(&key) {
                        return Err(A::Error::custom(format_args!("`{key}` stands here twice")));
                    }
                    all.insert(key, map.next_value()?);
                }
                // Packed: keys that come in any order leave a tree half empty, and it is kept long.
                Ok(all.into_iter().collect())
            }
        }
        deserializer.deserialize_map(Keys(PhantomData)).map(Self)
    }
}

/// Reads a map without repeated keys.
pub(crate) fn map<'de, D: Deserializer<'de>, V: Deserialize<'de>>(
    deserializer: D,
) -> Result<BTreeMap<String, V>, D::Error> {
    Unique::deserialize(deserializer).map(|unique| unique.0)
}

/// Reads a list of maps without repeated keys.
pub(crate) fn maps<'de, D: Deserializer<'de>, V: Deserialize<'de>>(
    deserializer: D,
) -> Result<Vec<BTreeMap<String, V>>, D::Error> {
    Ok(Vec::<Unique<V>>::deserialize(deserializer)?.into_iter().map(|unique| unique.0).collect())
}

/// Reads a number that is neither infinite nor `.nan`.
pub(crate) fn finite<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    let number = Option::<f64>::deserialize(deserializer)?;
    match number {
        Some(number) if !number.is_finite() => Err(D::Error::custom("a finite number was expected")),
        number => Ok(number),
    }
}
