//! Where a value lies and how it is laid out: the words settings use for it.

use schemars::JsonSchema;
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The four tables of a Modbus server.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Table {
    /// Bits that can be written.
    Coil,
    /// Bits that can only be read.
    Discrete,
    /// Registers that can only be read.
    Input,
    /// Registers that can be written.
    Holding,
}

impl Table {
    /// The table's word in settings.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Coil => "coil",
            Self::Discrete => "discrete",
            Self::Input => "input",
            Self::Holding => "holding",
        }
    }

    /// It, where it is a table of bits.
    #[must_use]
    pub fn bits(self) -> Option<BitTable> {
        match self {
            Self::Coil => Some(BitTable::Coil),
            Self::Discrete => Some(BitTable::Discrete),
            Self::Input | Self::Holding => None,
        }
    }

    /// It, where it is a table of registers.
    #[must_use]
    pub fn registers(self) -> Option<RegisterTable> {
        match self {
            Self::Input => Some(RegisterTable::Input),
            Self::Holding => Some(RegisterTable::Holding),
            Self::Coil | Self::Discrete => None,
        }
    }
}

macro_rules! some_tables {
    ($(#[$doc:meta])* $name:ident { $($(#[$table_doc:meta])* $table:ident),+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum $name {
            $($(#[$table_doc])* $table,)+
        }

        impl From<$name> for Table {
            fn from(table: $name) -> Self {
                match table {
                    $($name::$table => Self::$table,)+
                }
            }
        }
    };
}

some_tables! {
    /// A table of bits.
    BitTable {
        /// Coils, which can be written.
        Coil,
        /// Discrete inputs, which can only be read.
        Discrete
    }
}
some_tables! {
    /// A table of 16-bit registers.
    RegisterTable {
        /// Input registers, which can only be read.
        Input,
        /// Holding registers, which can be written.
        Holding
    }
}
some_tables! {
    /// The table of bits that can be written.
    CoilTable {
        /// Coils.
        Coil
    }
}
some_tables! {
    /// The table of registers that can be written.
    HoldingTable {
        /// Holding registers.
        Holding
    }
}

/// How the bits of a point make a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Type {
    /// 0 or 1: one coil or discrete input.
    Bit,
    /// Whole number from 0, one register.
    U16,
    /// Whole number with sign, one register.
    I16,
    /// Whole number from 0, two registers.
    U32,
    /// Whole number with sign, two registers.
    I32,
    /// Whole number from 0, four registers.
    U64,
    /// Whole number with sign, four registers.
    I64,
    /// IEEE 754 number of 32 bits, two registers.
    F32,
    /// IEEE 754 number of 64 bits, four registers.
    F64,
    /// Four decimal digits of four bits each, one register.
    Bcd16,
    /// Eight decimal digits of four bits each, two registers.
    Bcd32,
    /// Characters, two in a register, ended by a zero or the last register.
    Text,
}

impl Type {
    /// Those that are numbers in registers.
    pub(crate) const NUMBERS: [Self; 10] = [
        Self::U16,
        Self::I16,
        Self::U32,
        Self::I32,
        Self::U64,
        Self::I64,
        Self::F32,
        Self::F64,
        Self::Bcd16,
        Self::Bcd32,
    ];

    /// The type's word in settings.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Bit => "bit",
            Self::U16 => "u16",
            Self::I16 => "i16",
            Self::U32 => "u32",
            Self::I32 => "i32",
            Self::U64 => "u64",
            Self::I64 => "i64",
            Self::F32 => "f32",
            Self::F64 => "f64",
            Self::Bcd16 => "bcd16",
            Self::Bcd32 => "bcd32",
            Self::Text => "text",
        }
    }

    /// Registers a number of this type takes; none for text, whose length is set, and for a bit,
    /// which is in no register.
    #[must_use]
    pub fn registers(self) -> Option<u16> {
        match self {
            Self::U16 | Self::I16 | Self::Bcd16 => Some(1),
            Self::U32 | Self::I32 | Self::F32 | Self::Bcd32 => Some(2),
            Self::U64 | Self::I64 | Self::F64 => Some(4),
            Self::Bit | Self::Text => None,
        }
    }
}

/// Which register of a number comes first. The protocol does not say; the maker's manual must.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WordOrder {
    /// The most significant register at the lowest address.
    #[default]
    HighFirst,
    /// The least significant register at the lowest address.
    LowFirst,
}

/// Which byte of a register comes first: of a number's two, or of two characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ByteOrder {
    /// The one in the high byte, as the protocol has it (MODBUS Application Protocol V1.1b3,
    /// 4.2).
    #[default]
    HighFirst,
    /// The one in the low byte.
    LowFirst,
}

/// A number as a register shows it: the key of a list of values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, JsonSchema)]
#[schemars(with = "i64")]
pub struct RawValue(pub i64);

impl Serialize for RawValue {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for RawValue {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(RawVisitor)
    }
}

/// Takes a number, or a text that is one: keys are text in some formats.
struct RawVisitor;

impl Visitor<'_> for RawVisitor {
    type Value = RawValue;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a whole number as the register shows it, such as 17")
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<RawValue, E> {
        Ok(RawValue(number))
    }

    fn visit_u64<E: de::Error>(self, number: u64) -> Result<RawValue, E> {
        i64::try_from(number)
            .map(RawValue)
            .map_err(|_| E::invalid_value(de::Unexpected::Unsigned(number), &self))
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<RawValue, E> {
        text.trim()
            .parse()
            .map(RawValue)
            .map_err(|_| E::invalid_value(de::Unexpected::Str(text), &self))
    }
}
