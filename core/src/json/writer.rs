//! A value to text.

use crate::number::Shown;
use core::fmt::{Error, Write as _};
use serde::Serialize;
use serde::ser::{
    SerializeMap, SerializeSeq, SerializeStruct, SerializeStructVariant, SerializeTuple, SerializeTupleStruct,
    SerializeTupleVariant, Serializer,
};

/// What has been written.
#[derive(Default)]
pub(super) struct Writer {
    pub(super) out: String,
}

/// A list or a table that is being written.
pub(super) struct Open<'a> {
    to: &'a mut Writer,
    /// What goes before the next one.
    before: &'static str,
    /// What ends it.
    end: &'static str,
}

impl Writer {
    #[inline(never)]
    fn text(&mut self, text: &str) {
        self.out.push('"');
        for c in text.chars() {
            match c {
                '"' | '\\' => {
                    self.out.push('\\');
                    self.out.push(c);
                }
                '\0'..=' ' if c != ' ' => {
                    let _ = write!(self.out, "\\u{:04x}", u32::from(c));
                }
                c => self.out.push(c),
            }
        }
        self.out.push('"');
    }

    #[inline(never)]
    fn number(&mut self, n: f64) {
        if n.is_finite() {
            let _ = write!(self.out, "{}", Shown(n));
        } else {
            self.out.push_str("null");
        }
    }

    #[inline(never)]
    fn integer(&mut self, sign: &str, size: u64) {
        let _ = write!(self.out, "{sign}{size}");
    }

    fn list(&mut self) -> Open<'_> {
        self.out.push('[');
        Open { to: self, before: "", end: "]" }
    }

    fn table(&mut self) -> Open<'_> {
        self.out.push('{');
        Open { to: self, before: "", end: "}" }
    }

    /// `{"variant":`, after which the value and `}` follow.
    fn variant(&mut self, variant: &str) {
        self.out.push('{');
        self.text(variant);
        self.out.push(':');
    }
}

impl Open<'_> {
    #[inline(never)]
    fn next(&mut self) {
        self.to.out.push_str(self.before);
        self.before = ",";
    }

    fn element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Error> {
        self.next();
        value.serialize(&mut *self.to)
    }

    #[inline(never)]
    fn named(&mut self, key: &str) {
        self.next();
        self.to.text(key);
        self.to.out.push(':');
    }

    fn finish(self) -> Result<(), Error> {
        self.to.out.push_str(self.end);
        Ok(())
    }
}

impl<'a> Serializer for &'a mut Writer {
    type Ok = ();
    type Error = Error;
    type SerializeSeq = Open<'a>;
    type SerializeTuple = Open<'a>;
    type SerializeTupleStruct = Open<'a>;
    type SerializeTupleVariant = Open<'a>;
    type SerializeMap = Open<'a>;
    type SerializeStruct = Open<'a>;
    type SerializeStructVariant = Open<'a>;

    fn serialize_bool(self, v: bool) -> Result<(), Error> {
        self.out.push_str(if v { "true" } else { "false" });
        Ok(())
    }

    fn serialize_i8(self, v: i8) -> Result<(), Error> {
        self.serialize_i64(v.into())
    }

    fn serialize_i16(self, v: i16) -> Result<(), Error> {
        self.serialize_i64(v.into())
    }

    fn serialize_i32(self, v: i32) -> Result<(), Error> {
        self.serialize_i64(v.into())
    }

    fn serialize_i64(self, v: i64) -> Result<(), Error> {
        self.integer(if v < 0 { "-" } else { "" }, v.unsigned_abs());
        Ok(())
    }

    fn serialize_u8(self, v: u8) -> Result<(), Error> {
        self.serialize_u64(v.into())
    }

    fn serialize_u16(self, v: u16) -> Result<(), Error> {
        self.serialize_u64(v.into())
    }

    fn serialize_u32(self, v: u32) -> Result<(), Error> {
        self.serialize_u64(v.into())
    }

    fn serialize_u64(self, v: u64) -> Result<(), Error> {
        self.integer("", v);
        Ok(())
    }

    fn serialize_f32(self, v: f32) -> Result<(), Error> {
        self.serialize_f64(v.into())
    }

    fn serialize_f64(self, v: f64) -> Result<(), Error> {
        self.number(v);
        Ok(())
    }

    fn serialize_char(self, v: char) -> Result<(), Error> {
        self.serialize_str(v.encode_utf8(&mut [0; 4]))
    }

    fn serialize_str(self, v: &str) -> Result<(), Error> {
        self.text(v);
        Ok(())
    }

    fn serialize_bytes(self, v: &[u8]) -> Result<(), Error> {
        self.collect_seq(v)
    }

    fn serialize_none(self) -> Result<(), Error> {
        self.serialize_unit()
    }

    fn serialize_some<T: Serialize + ?Sized>(self, v: &T) -> Result<(), Error> {
        v.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), Error> {
        self.out.push_str("null");
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Result<(), Error> {
        self.serialize_unit()
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, variant: &'static str) -> Result<(), Error> {
        self.serialize_str(variant)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, v: &T) -> Result<(), Error> {
        v.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        v: &T,
    ) -> Result<(), Error> {
        self.variant(variant);
        v.serialize(&mut *self)?;
        self.out.push('}');
        Ok(())
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Open<'a>, Error> {
        Ok(self.list())
    }

    fn serialize_tuple(self, _: usize) -> Result<Open<'a>, Error> {
        Ok(self.list())
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Open<'a>, Error> {
        Ok(self.list())
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Open<'a>, Error> {
        self.variant(variant);
        Ok(Open { end: "]}", ..self.list() })
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Open<'a>, Error> {
        Ok(self.table())
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Open<'a>, Error> {
        Ok(self.table())
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Open<'a>, Error> {
        self.variant(variant);
        Ok(Open { end: "}}", ..self.table() })
    }
}

/// The kinds of list that `serde` tells apart.
macro_rules! lists {
    ($($kind:ident $method:ident),*) => {$(
        impl $kind for Open<'_> {
            type Ok = ();
            type Error = Error;

            fn $method<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Error> {
                self.element(value)
            }

            fn end(self) -> Result<(), Error> {
                self.finish()
            }
        }
    )*};
}

lists! {
    SerializeSeq serialize_element, SerializeTuple serialize_element, SerializeTupleStruct serialize_field,
    SerializeTupleVariant serialize_field
}

/// The kinds of table whose keys are known.
macro_rules! tables {
    ($($kind:ident),*) => {$(
        impl $kind for Open<'_> {
            type Ok = ();
            type Error = Error;

            fn serialize_field<T: Serialize + ?Sized>(&mut self, key: &'static str, value: &T) -> Result<(), Error> {
                self.named(key);
                value.serialize(&mut *self.to)
            }

            fn end(self) -> Result<(), Error> {
                self.finish()
            }
        }
    )*};
}

tables! { SerializeStruct, SerializeStructVariant }

impl SerializeMap for Open<'_> {
    type Ok = ();
    type Error = Error;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result<(), Error> {
        self.next();
        let from = self.to.out.len();
        key.serialize(&mut *self.to)?;
        // A number as a key stands in quotes.
        if !self.to.out.get(from..).is_some_and(|key| key.starts_with('"')) {
            self.to.out.insert(from, '"');
            self.to.out.push('"');
        }
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Error> {
        self.to.out.push(':');
        value.serialize(&mut *self.to)
    }

    fn end(self) -> Result<(), Error> {
        self.finish()
    }
}
