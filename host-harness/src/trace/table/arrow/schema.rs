//! What the columns of an Arrow schema hold, and which buffers of a record batch are theirs.

use arrow_ipc::{Endianness, Precision, TimeUnit, Type, root_as_message};

use super::super::{Column, Kind, Stored, TableError};
use super::CONTINUATION;

/// The columns of a schema.
pub(super) struct Schema {
    pub(super) columns: Vec<Column>,
    pub(super) nullable: Vec<bool>,
    pub(super) stored: Vec<Stored>,
    pub(super) fields: Vec<Field>,
    pub(super) notes: Vec<(String, String)>,
}

/// Where a column stands in a record batch, and how its cells are stored.
#[derive(Clone, Copy, Debug)]
pub(super) struct Field {
    pub(super) place: Place,
    pub(super) storage: Storage,
}

/// How many nodes, buffers and columns with a varying number of buffers come before.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Place {
    pub(super) nodes: usize,
    pub(super) buffers: usize,
    pub(super) views: usize,
}

/// How cells are stored: the bytes of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Storage {
    Bits,
    Signed(usize),
    Unsigned(usize),
    Single,
    Double,
    /// What cannot be selected.
    Other,
}

impl Schema {
    pub(super) fn of(schema: &arrow_ipc::Schema<'_>) -> Result<Self, TableError> {
        if schema.endianness() != Endianness::Little {
            let what = "the highest byte of a number first".to_owned();
            return Err(TableError::Unsupported { format: super::FORMAT, what });
        }
        let mut all = Self {
            columns: Vec::new(),
            nullable: Vec::new(),
            stored: Vec::new(),
            fields: Vec::new(),
            notes: Vec::new(),
        };
        let mut place = Place::default();
        for field in schema.fields().into_iter().flatten() {
            let (kind, storage) = kind(&field);
            let name = field.name().unwrap_or_default().to_owned();
            let unit = note(field.custom_metadata(), "unit");
            all.columns.push(Column { name, unit, kind, group: 0, rows: None, is_time: false });
            all.nullable.push(field.nullable());
            all.stored.push(stored(&field));
            all.fields.push(Field { place, storage });
            pass_over(&field, &mut place);
        }
        for pair in schema.custom_metadata().into_iter().flatten() {
            let (key, value) = (pair.key().unwrap_or_default(), pair.value().unwrap_or_default());
            all.notes.push((key.to_owned(), value.to_owned()));
        }
        Ok(all)
    }
}

type Notes<'a> = arrow_ipc::KeyValue<'a>;

/// The text of a note of a field.
fn note<'a>(notes: Option<impl IntoIterator<Item = Notes<'a>>>, key: &str) -> Option<String> {
    let mut notes = notes.into_iter().flatten();
    let found = notes.find(|note| note.key() == Some(key))?;
    Some(found.value().unwrap_or_default().to_owned())
}

/// Counts what a field and those inside it have in a record batch.
fn pass_over(field: &arrow_ipc::Field<'_>, place: &mut Place) {
    place.nodes += 1;
    if field.dictionary().is_some() {
        // Codes; the values are elsewhere.
        place.buffers += 2;
        return;
    }
    place.buffers += match field.type_type() {
        Type::Null | Type::RunEndEncoded => 0,
        Type::Struct_ | Type::FixedSizeList => 1,
        Type::Utf8 | Type::Binary | Type::LargeUtf8 | Type::LargeBinary => 3,
        Type::ListView | Type::LargeListView => 3,
        Type::Union => match field.type_as_union().map(|union| union.mode()) {
            Some(arrow_ipc::UnionMode::Dense) => 2,
            _ => 1,
        },
        _ => 2,
    };
    place.views += usize::from(matches!(field.type_type(), Type::Utf8View | Type::BinaryView));
    for child in field.children().into_iter().flatten() {
        pass_over(&child, place);
    }
}

const fn ns(unit: TimeUnit) -> u64 {
    match unit {
        TimeUnit::SECOND => 1_000_000_000,
        TimeUnit::MILLISECOND => 1_000_000,
        TimeUnit::MICROSECOND => 1_000,
        _ => 1,
    }
}

fn kind(field: &arrow_ipc::Field<'_>) -> (Kind, Storage) {
    let other = |what| (Kind::Other(what), Storage::Other);
    if field.dictionary().is_some() {
        return other("codes into a dictionary");
    }
    match field.type_type() {
        Type::Bool => (Kind::Bool, Storage::Bits),
        Type::Int => match field.type_as_int().map(|int| (int.bitWidth(), int.is_signed())) {
            Some((bits @ (8 | 16 | 32 | 64), true)) => (Kind::Integer, Storage::Signed(bits as usize / 8)),
            Some((bits @ (8 | 16 | 32 | 64), false)) => (Kind::Integer, Storage::Unsigned(bits as usize / 8)),
            _ => other("whole numbers of an unknown width"),
        },
        Type::FloatingPoint => match field.type_as_floating_point().map(|float| float.precision()) {
            Some(Precision::SINGLE) => (Kind::Real, Storage::Single),
            Some(Precision::DOUBLE) => (Kind::Real, Storage::Double),
            _ => other("16-bit floating-point numbers"),
        },
        Type::Decimal => {
            let decimal = field.type_as_decimal().map(|decimal| (decimal.scale(), decimal.bitWidth()));
            match decimal.map(|(scale, bits)| (u32::try_from(scale), bits)) {
                Some((Ok(places), bits @ (32 | 64 | 128))) => {
                    (Kind::Decimal { places }, Storage::Signed(bits as usize / 8))
                }
                _ => other("decimal numbers of an unknown scale or width"),
            }
        }
        Type::Timestamp => match field.type_as_timestamp() {
            Some(stamp) => (Kind::Time { ns: ns(stamp.unit()) }, Storage::Signed(8)),
            None => other("times of an unknown unit"),
        },
        Type::Duration => match field.type_as_duration() {
            Some(duration) => (Kind::Time { ns: ns(duration.unit()) }, Storage::Signed(8)),
            None => other("times of an unknown unit"),
        },
        Type::Time => match field.type_as_time().map(|time| (time.unit(), time.bitWidth())) {
            Some((unit, bits @ (32 | 64))) => {
                (Kind::Time { ns: ns(unit) }, Storage::Signed(bits as usize / 8))
            }
            _ => other("times of an unknown width"),
        },
        Type::Utf8 | Type::LargeUtf8 | Type::Utf8View => other("text"),
        Type::Date => other("dates"),
        Type::Null => other("nothing but nulls"),
        Type::Binary | Type::LargeBinary | Type::BinaryView | Type::FixedSizeBinary => other("bytes"),
        Type::List | Type::LargeList | Type::FixedSizeList | Type::ListView | Type::LargeListView => {
            other("lists")
        }
        Type::Struct_ | Type::Map | Type::Union => other("values inside values"),
        _ => other("values of an unknown type"),
    }
}

/// How the cells of a field are stored, as far as their kind does not say it.
fn stored(field: &arrow_ipc::Field<'_>) -> Stored {
    match field.type_type() {
        _ if field.dictionary().is_some() => Stored::Wide,
        Type::Int => match field.type_as_int().map(|int| (int.bitWidth(), int.is_signed())) {
            Some((bits @ (8 | 16 | 32), signed)) => Stored::Whole { bytes: bits as usize / 8, signed },
            _ => Stored::Wide,
        },
        Type::FloatingPoint => match field.type_as_floating_point().map(|float| float.precision()) {
            Some(Precision::SINGLE) => Stored::Single,
            _ => Stored::Wide,
        },
        Type::Timestamp => {
            let zone = field.type_as_timestamp().and_then(|stamp| stamp.timezone());
            Stored::Stamp { zone: zone.filter(|zone| !zone.is_empty()).map(str::to_owned) }
        }
        Type::Time => Stored::Clock,
        _ => Stored::Wide,
    }
}

/// The columns of a schema in the note that writers of Arrow leave in a Parquet file.
pub(crate) fn columns_of_base64(text: &str) -> Option<Vec<(Column, Stored)>> {
    let bytes = base64(text)?;
    let message = match bytes.strip_prefix(&CONTINUATION) {
        Some(rest) => rest.get(4..)?,
        // From before there was a continuation.
        None => bytes.get(4..)?,
    };
    let message = root_as_message(message).ok()?;
    let schema = Schema::of(&message.header_as_schema()?).ok()?;
    Some(schema.columns.into_iter().zip(schema.stored).collect())
}

fn base64(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3);
    let (mut bits, mut count) = (0_u32, 0);
    for &byte in text.trim_end_matches('=').as_bytes() {
        let six = match byte {
            b'A'..=b'Z' => byte - b'A',
            b'a'..=b'z' => byte - b'a' + 26,
            b'0'..=b'9' => byte - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => return None,
        };
        bits = bits << 6 | u32::from(six);
        count += 6;
        if count >= 8 {
            count -= 8;
            bytes.push((bits >> count & 0xff) as u8);
        }
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_read_as_rfc_4648_writes_it() {
        // Test vectors of RFC 4648, section 10, from memory.
        for (text, bytes) in [
            ("", ""),
            ("Zg==", "f"),
            ("Zm8=", "fo"),
            ("Zm9v", "foo"),
            ("Zm9vYg==", "foob"),
            ("Zm9vYmFy", "foobar"),
        ] {
            assert_eq!(base64(text).as_deref(), Some(bytes.as_bytes()), "{text}");
        }
        assert_eq!(base64("Zm9v!"), None);
    }
}
