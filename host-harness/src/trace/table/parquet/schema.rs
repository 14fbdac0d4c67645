//! What the columns of a Parquet file hold.

use parquet::basic::{ConvertedType, LogicalType, TimeUnit, Type};
use parquet::file::metadata::{FileMetaData, ParquetMetaData};
use parquet::schema::types::ColumnDescriptor;

use super::super::arrow;
use super::super::{Column, Kind, Stored, TableError};

/// The note that writers of Arrow leave: their own schema, which tells durations and the units of columns.
const ARROW_SCHEMA: &str = "ARROW:schema";
/// Before the name of a column: the note with its unit.
const UNIT: &str = "unit.";

/// What the file says of itself.
pub(super) fn notes(file: &FileMetaData) -> Vec<(String, String)> {
    let notes = file.key_value_metadata().into_iter().flatten();
    notes.map(|note| (note.key.clone(), note.value.clone().unwrap_or_default())).collect()
}

/// The leaves of the schema as columns.
pub(super) fn columns(
    metadata: &ParquetMetaData,
    notes: &[(String, String)],
) -> Result<Vec<(Column, Stored)>, TableError> {
    let schema = metadata.file_metadata().schema_descr();
    let note = |key: &str| notes.iter().find(|(name, _)| name == key).map(|(_, text)| text.as_str());
    let written_by_arrow = match note(ARROW_SCHEMA) {
        Some(text) => arrow::columns_of_base64(text)
            .ok_or_else(|| super::damaged(None, format!("its note {ARROW_SCHEMA} is no schema")))?,
        None => Vec::new(),
    };
    let rows = u64::try_from(metadata.file_metadata().num_rows()).ok();
    let column = |leaf: &ColumnDescriptor| {
        let name = leaf.path().parts().join(".");
        let arrow = written_by_arrow.iter().find(|(column, _)| column.name == name);
        let (kind, stored) = match (kind(leaf), stored(leaf), arrow) {
            // Parquet has no durations: they are plain numbers there.
            (Kind::Integer, _, Some((Column { kind: kind @ Kind::Time { .. }, .. }, stored))) => {
                (*kind, stored.clone())
            }
            // Nor has it names of time zones.
            (
                kind,
                Stored::Stamp { zone: Some(_) },
                Some((_, of_arrow @ Stored::Stamp { zone: Some(_) })),
            ) => (kind, of_arrow.clone()),
            (kind, stored, _) => (kind, stored),
        };
        let unit = note(&format!("{UNIT}{name}")).map(str::to_owned);
        let unit = unit.or_else(|| arrow.and_then(|(column, _)| column.unit.clone()));
        (Column { name, unit, kind, group: 0, rows, is_time: false }, stored)
    };
    Ok(schema.columns().iter().map(|leaf| column(leaf)).collect())
}

/// Whether whole numbers are without a sign.
pub(super) fn is_unsigned(leaf: &ColumnDescriptor) -> bool {
    match leaf.logical_type_ref() {
        Some(LogicalType::Integer(integer)) => !integer.is_signed,
        Some(_) => false,
        None => matches!(
            leaf.converted_type(),
            ConvertedType::UINT_8 | ConvertedType::UINT_16 | ConvertedType::UINT_32 | ConvertedType::UINT_64
        ),
    }
}

/// How the cells of a leaf are stored, as far as their kind does not say it.
fn stored(leaf: &ColumnDescriptor) -> Stored {
    let stamp = |is_utc: bool| Stored::Stamp { zone: is_utc.then(|| "UTC".to_owned()) };
    let whole = |bits: i32| match usize::try_from(bits / 8) {
        Ok(bytes @ (1 | 2 | 4)) => Stored::Whole { bytes, signed: !is_unsigned(leaf) },
        _ => Stored::Wide,
    };
    match (leaf.physical_type(), leaf.logical_type_ref(), leaf.converted_type()) {
        (Type::FLOAT, None, _) => Stored::Single,
        (Type::INT32 | Type::INT64, Some(LogicalType::Timestamp(time)), _) => {
            stamp(time.is_adjusted_to_u_t_c)
        }
        (Type::INT32 | Type::INT64, Some(LogicalType::Time(_)), _) => Stored::Clock,
        (Type::INT32, Some(LogicalType::Integer(integer)), _) => whole(integer.bit_width.into()),
        (
            Type::INT32 | Type::INT64,
            None,
            ConvertedType::TIMESTAMP_MILLIS | ConvertedType::TIMESTAMP_MICROS,
        ) => stamp(true),
        (Type::INT32 | Type::INT64, None, ConvertedType::TIME_MILLIS | ConvertedType::TIME_MICROS) => {
            Stored::Clock
        }
        (Type::INT32, None, ConvertedType::INT_8 | ConvertedType::UINT_8) => whole(8),
        (Type::INT32, None, ConvertedType::INT_16 | ConvertedType::UINT_16) => whole(16),
        (Type::INT32, None, ConvertedType::NONE | ConvertedType::INT_32 | ConvertedType::UINT_32) => {
            whole(32)
        }
        _ => Stored::Wide,
    }
}

fn kind(leaf: &ColumnDescriptor) -> Kind {
    if leaf.max_rep_level() > 0 {
        return Kind::Other("lists");
    }
    match (leaf.physical_type(), leaf.logical_type_ref(), leaf.converted_type()) {
        (_, Some(LogicalType::Unknown), _) => Kind::Other("nothing but nulls"),
        (Type::BOOLEAN, ..) => Kind::Bool,
        (Type::FLOAT | Type::DOUBLE, None, _) => Kind::Real,
        (Type::INT96, ..) => Kind::Other("96-bit timestamps"),
        (_, Some(LogicalType::Decimal(_)), _) | (_, None, ConvertedType::DECIMAL) => decimal(leaf),
        (Type::INT32 | Type::INT64, Some(LogicalType::Time(time) | LogicalType::Timestamp(time)), _) => {
            match time.unit {
                TimeUnit::MILLIS => Kind::Time { ns: 1_000_000 },
                TimeUnit::MICROS => Kind::Time { ns: 1_000 },
                TimeUnit::NANOS => Kind::Time { ns: 1 },
            }
        }
        (Type::INT32 | Type::INT64, Some(LogicalType::Integer(_)), _) => Kind::Integer,
        (Type::INT32 | Type::INT64, None, converted) => match converted {
            ConvertedType::DATE => Kind::Other("dates"),
            ConvertedType::TIME_MILLIS | ConvertedType::TIMESTAMP_MILLIS => Kind::Time { ns: 1_000_000 },
            ConvertedType::TIME_MICROS | ConvertedType::TIMESTAMP_MICROS => Kind::Time { ns: 1_000 },
            _ => Kind::Integer,
        },
        (_, Some(LogicalType::Date), _) => Kind::Other("dates"),
        (_, Some(LogicalType::Float16), _) => Kind::Other("16-bit floating-point numbers"),
        (_, Some(LogicalType::String | LogicalType::Enum | LogicalType::Json), _)
        | (_, None, ConvertedType::UTF8 | ConvertedType::ENUM | ConvertedType::JSON) => Kind::Other("text"),
        (Type::BYTE_ARRAY | Type::FIXED_LEN_BYTE_ARRAY, ..) => Kind::Other("bytes"),
        _ => Kind::Other("values of an unknown type"),
    }
}

fn decimal(leaf: &ColumnDescriptor) -> Kind {
    let is_number = leaf.physical_type() != Type::FLOAT && leaf.physical_type() != Type::DOUBLE;
    match u32::try_from(leaf.type_scale()) {
        Ok(places) if is_number => Kind::Decimal { places },
        _ => Kind::Other("decimal numbers of an unknown scale"),
    }
}
