//! A tree to a value.

use super::Refused;
use crate::number::Shown;
use crate::tree::{Entry, Kind, Node, quoted};
use core::fmt;
use serde::de::value::StrDeserializer;
use serde::de::{
    DeserializeSeed, Deserializer, EnumAccess, Error, Expected, MapAccess, SeqAccess, Unexpected, VariantAccess,
    Visitor,
};
use serde::forward_to_deserialize_any;

impl Error for Refused {
    #[cold]
    fn custom<T: fmt::Display>(words: T) -> Self {
        Refused::new(&words.to_string())
    }

    #[cold]
    fn invalid_type(_: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Refused::new(&format!("{expected} is needed, and this is something else"))
    }

    #[cold]
    fn invalid_value(_: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Refused::new(&format!("{expected} is needed, and this is another"))
    }

    #[cold]
    fn unknown_variant(word: &str, known: &'static [&'static str]) -> Self {
        Refused::new(&format!("{} is not known; one of: {}", quoted(word), known.join(", ")))
    }

    #[cold]
    fn unknown_field(word: &str, known: &'static [&'static str]) -> Self {
        Refused::new(&format!("the key {} is not known; one of: {}", quoted(word), known.join(", ")))
    }
}

impl Node {
    #[cold]
    #[inline(never)]
    fn needed(&self, what: &str) -> Refused {
        let found = match &self.kind {
            Kind::Text(word) => quoted(word),
            Kind::Number(n) => format!("the number {}", Shown(*n)),
            other => other.name().to_owned(),
        };
        Refused::new(&format!("{what} is needed, and this is {found}"))
    }

    /// A whole number from 0 up that the `f64` holds exactly.
    fn whole(&self) -> Option<u64> {
        let Kind::Number(n @ 0.0..WHOLE) = self.kind else { return None };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range")]
        let whole = n as u64;
        #[expect(clippy::cast_precision_loss, reason = "below 2^53: exact")]
        let back = whole as f64;
        (back.to_bits() == n.to_bits()).then_some(whole)
    }
}

/// Past this an `f64` does not hold every whole number.
const WHOLE: f64 = 9_007_199_254_740_992.0;

impl<'de> Deserializer<'de> for &'de Node {
    type Error = Refused;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Table(_) => self.deserialize_map(visitor),
            Kind::Array(_) => self.deserialize_seq(visitor),
            Kind::Text(text) => visitor.visit_str(text),
            Kind::Number(n) => match self.whole() {
                Some(n) => visitor.visit_u64(n),
                None => visitor.visit_f64(*n),
            },
            Kind::Truth(truth) => visitor.visit_bool(*truth),
            Kind::Other(_) => visitor.visit_unit(),
        }
    }

    // What is asked for by its kind takes no other: less for each type to hold.

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Refused> {
        self.deserialize_map(visitor)
    }

    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Table(entries) => visitor.visit_map(Entries { rest: entries, next: None }),
            _ => Err(self.needed("a table")),
        }
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Refused> {
        self.deserialize_seq(visitor)
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Array(list) => visitor.visit_seq(List(list)),
            _ => Err(self.needed("a list")),
        }
    }

    fn deserialize_f64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Number(n) => visitor.visit_f64(*n),
            _ => Err(self.needed("a number")),
        }
    }

    fn deserialize_u64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match self.whole() {
            Some(n) => visitor.visit_u64(n),
            None => Err(self.needed("a whole number from 0 up")),
        }
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Truth(truth) => visitor.visit_bool(*truth),
            _ => Err(self.needed("true or false")),
        }
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Text(text) => visitor.visit_str(text),
            _ => Err(self.needed("text in quotes")),
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Other(_) => visitor.visit_none(),
            _ => visitor.visit_some(self),
        }
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Refused> {
        match &self.kind {
            Kind::Text(word) => visitor.visit_enum(Variant { word, value: None }),
            Kind::Table(entries) => match entries.as_slice() {
                [entry] => visitor.visit_enum(Variant { word: &entry.key, value: Some(&entry.value) }),
                _ => Err(self.needed("a table of one key")),
            },
            _ => Err(self.needed("a word in quotes")),
        }
    }

    forward_to_deserialize_any! {
        i8 i16 i32 i64 i128 u8 u16 u32 u128 f32 char str bytes byte_buf unit unit_struct newtype_struct tuple_struct identifier
        ignored_any
    }
}

struct List<'de>(&'de [Node]);

impl<'de> SeqAccess<'de> for List<'de> {
    type Error = Refused;

    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Refused> {
        let Some((first, rest)) = self.0.split_first() else { return Ok(None) };
        self.0 = rest;
        seed.deserialize(first).map(Some)
    }
}

struct Entries<'de> {
    rest: &'de [Entry],
    /// Whose value comes next.
    next: Option<&'de Entry>,
}

impl<'de> MapAccess<'de> for Entries<'de> {
    type Error = Refused;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Refused> {
        let Some((first, rest)) = self.rest.split_first() else { return Ok(None) };
        self.rest = rest;
        self.next = Some(first);
        seed.deserialize(StrDeserializer::new(&first.key)).map(Some)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Refused> {
        match self.next.take() {
            Some(entry) => seed.deserialize(&entry.value).map_err(|e| e.within(&entry.key)),
            None => Err(Refused::new("a value is missing")),
        }
    }
}

/// A variant of an enum, and what it holds.
struct Variant<'de> {
    word: &'de str,
    value: Option<&'de Node>,
}

impl<'de> EnumAccess<'de> for Variant<'de> {
    type Error = Refused;
    type Variant = Self;

    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Self), Refused> {
        let variant = seed.deserialize(StrDeserializer::<Refused>::new(self.word))?;
        Ok((variant, self))
    }
}

impl<'de> Variant<'de> {
    fn held(self) -> Result<&'de Node, Refused> {
        self.value.ok_or_else(|| Refused::new(&format!("{} needs a value", quoted(self.word))))
    }
}

impl<'de> VariantAccess<'de> for Variant<'de> {
    type Error = Refused;

    fn unit_variant(self) -> Result<(), Refused> {
        match self.value {
            None => Ok(()),
            Some(_) => Err(Refused::new(&format!("{} takes no value", quoted(self.word)))),
        }
    }

    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, Refused> {
        seed.deserialize(self.held()?)
    }

    fn tuple_variant<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Refused> {
        self.held()?.deserialize_seq(visitor)
    }

    fn struct_variant<V: Visitor<'de>>(self, _: &'static [&'static str], visitor: V) -> Result<V::Value, Refused> {
        self.held()?.deserialize_map(visitor)
    }
}
