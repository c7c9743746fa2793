//! Each type in each order, against values worked out by hand, and back again.

use proptest::prelude::*;

use super::*;

const HIGH: WordOrder = WordOrder::HighFirst;
const LOW: WordOrder = WordOrder::LowFirst;
const BIG: ByteOrder = ByteOrder::HighFirst;
const LITTLE: ByteOrder = ByteOrder::LowFirst;

fn plain(kind: Type, words: WordOrder, bytes: ByteOrder) -> Format {
    Format::Number(Number { kind, words, bytes, bits: None })
}

fn part(kind: Type, bits: [u8; 2]) -> Format {
    Format::Number(Number { kind, words: HIGH, bytes: BIG, bits: Some(bits) })
}

fn encoded(format: Format, value: &Value) -> Result<Vec<u16>, NoRoom> {
    format.encode(value, &vec![0; usize::from(format.registers())])
}

#[test]
fn numbers_of_each_type() {
    let cases = [
        (Type::U16, vec![0xFFFF], Value::Whole(65_535)),
        (Type::I16, vec![0xFFFF], Value::Whole(-1)),
        (Type::U32, vec![1, 2], Value::Whole(65_538)),
        (Type::I32, vec![0xFFFF, 0xFFFE], Value::Whole(-2)),
        (Type::U64, vec![1, 0, 0, 7], Value::Whole((1 << 48) + 7)),
        (Type::I64, vec![0xFFFF; 4], Value::Whole(-1)),
        (Type::F32, vec![0x41C8, 0], Value::Real(25.0)),
        (Type::F64, vec![0x4039, 0, 0, 0], Value::Real(25.0)),
        (Type::Bcd16, vec![0x1234], Value::Whole(1_234)),
        (Type::Bcd32, vec![0x0012, 0x3456], Value::Whole(123_456)),
    ];
    for (kind, registers, value) in cases {
        let format = plain(kind, HIGH, BIG);
        assert_eq!(format.decode(&registers), Ok(value.clone()), "{kind:?}");
        assert_eq!(encoded(format, &value), Ok(registers), "{kind:?}");
    }
}

/// The four orders in which makers send the bytes 12 34 56 78 of one number.
#[test]
fn a_number_of_two_registers_in_each_of_its_four_orders() {
    let orders = [
        (HIGH, BIG, [0x1234, 0x5678]),
        (LOW, BIG, [0x5678, 0x1234]),
        (HIGH, LITTLE, [0x3412, 0x7856]),
        (LOW, LITTLE, [0x7856, 0x3412]),
    ];
    for (words, bytes, registers) in orders {
        let number = plain(Type::U32, words, bytes).decode(&registers);
        assert_eq!(number, Ok(Value::Whole(0x1234_5678)), "{words:?} {bytes:?}");
        let digits = plain(Type::Bcd32, words, bytes).decode(&registers);
        assert_eq!(digits, Ok(Value::Whole(12_345_678)), "{words:?} {bytes:?}");
    }
    let number = plain(Type::U16, HIGH, LITTLE).decode(&[0x3412]);
    assert_eq!(number, Ok(Value::Whole(0x1234)));
}

#[test]
fn a_group_of_bits_above_nine_is_no_digit() {
    for word in [0x000A, 0xA000, 0x0F00, 0xFFFF] {
        let read = plain(Type::Bcd16, HIGH, BIG).decode(&[word]);
        assert_eq!(read, Err(Unreadable::NotDecimal(u64::from(word))));
    }
    let format = plain(Type::Bcd16, HIGH, BIG);
    assert_eq!(encoded(format, &Value::Whole(9_999)), Ok(vec![0x9999]));
    assert_eq!(encoded(format, &Value::Whole(10_000)), Err(NoRoom));
    assert_eq!(encoded(format, &Value::Whole(-1)), Err(NoRoom));
}

#[test]
fn some_bits_of_a_number_leave_the_others_alone() {
    let cases = [
        (part(Type::U16, [4, 7]), vec![0xABCD], 0xC),
        (part(Type::U16, [0, 0]), vec![0xABCD], 1),
        (part(Type::U16, [15, 15]), vec![0xABCD], 1),
        (part(Type::U16, [0, 15]), vec![0xABCD], 0xABCD),
        (part(Type::U32, [12, 19]), vec![0x1234, 0x5678], 0x45),
        (part(Type::U64, [63, 63]), vec![0x8000, 0, 0, 0], 1),
    ];
    for (format, registers, whole) in cases {
        assert_eq!(format.decode(&registers), Ok(Value::Whole(whole)), "{format:?}");
    }
    let field = part(Type::U16, [4, 7]);
    assert_eq!(field.encode(&Value::Whole(3), &[0xABCD]), Ok(vec![0xAB3D]));
    assert_eq!(field.encode(&Value::Whole(16), &[0xABCD]), Err(NoRoom));
}

#[test]
fn text_ends_at_a_zero_and_loses_its_padding() {
    let read = |registers: &[u16], bytes| {
        let format = Format::Text { registers: registers.len() as u16, bytes };
        format.decode(registers)
    };
    let is = |text: &str| Ok(Value::Text(text.to_owned()));
    assert_eq!(read(&[0x5354, 0x2D31], BIG), is("ST-1"));
    assert_eq!(read(&[0x5453, 0x312D], LITTLE), is("ST-1"));
    assert_eq!(read(&[0x5354, 0x0041], BIG), is("ST"));
    assert_eq!(read(&[0x2020, 0x0000], BIG), is(""));
    assert_eq!(read(&[0xFFFF, 0xFFFF], BIG), Err(Unreadable::NotText));
}

fn kinds() -> impl Strategy<Value = Type> {
    prop::sample::select(&Type::NUMBERS[..])
}

fn orders() -> impl Strategy<Value = WordOrder> {
    prop_oneof![Just(HIGH), Just(LOW)]
}

fn byte_orders() -> impl Strategy<Value = ByteOrder> {
    prop_oneof![Just(BIG), Just(LITTLE)]
}

fn unsigned() -> impl Strategy<Value = Type> {
    prop::sample::select(&[Type::U16, Type::U32, Type::U64][..])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(10_000))]

    #[test]
    fn any_registers_are_decoded_or_refused(
        registers in prop::collection::vec(any::<u16>(), 0..10), kind in kinds(),
        words in orders(), bytes in byte_orders(), bits: Option<[u8; 2]>, length in 0u16..10,
    ) {
        let _ = Format::Number(Number { kind, words, bytes, bits }).decode(&registers);
        let _ = Format::Text { registers: length, bytes }.decode(&registers);
    }
}

proptest! {
    #[test]
    fn what_registers_say_is_written_back_as_the_same_registers(
        registers in prop::collection::vec(any::<u16>(), 4), kind in kinds(), words in orders(),
        bytes in byte_orders(),
    ) {
        let format = plain(kind, words, bytes);
        let registers = &registers[..usize::from(format.registers())];
        if let Ok(value) = format.decode(registers)
            && !matches!(value, Value::Real(real) if real.is_nan())
        {
            prop_assert_eq!(encoded(format, &value).unwrap(), registers);
        }
    }

    #[test]
    fn decimal_digits_come_back(
        number in 0i128..100_000_000, words in orders(), bytes in byte_orders(),
    ) {
        let format = plain(Type::Bcd32, words, bytes);
        let registers = encoded(format, &Value::Whole(number)).unwrap();
        prop_assert_eq!(format.decode(&registers).unwrap(), Value::Whole(number));
    }

    #[test]
    fn some_bits_come_back_and_the_others_stay(
        before in prop::collection::vec(any::<u16>(), 4), kind in unsigned(), words in orders(),
        bytes in byte_orders(), one in 0u8..64, other in 0u8..64, whole: u64,
    ) {
        let most = kind.registers().unwrap() as u8 * 16;
        let (first, last) = ((one % most).min(other % most), (one % most).max(other % most));
        let number = Number { kind, words, bytes, bits: Some([first, last]) };
        let format = Format::Number(number);
        let before = &before[..usize::from(format.registers())];
        let whole = whole >> (63 - (last - first));
        let after = format.encode(&Value::Whole(i128::from(whole)), before).unwrap();
        prop_assert_eq!(format.decode(&after).unwrap(), Value::Whole(i128::from(whole)));
        let kept = |registers: &[u16]| number.pattern(registers) & !number.mask();
        prop_assert_eq!(kept(&after), kept(before));
        let too_much = Value::Whole(1 << (last - first + 1));
        prop_assert_eq!(format.encode(&too_much, before), Err(NoRoom));
    }

    #[test]
    fn text_that_fits_comes_back(
        text in "[!-~]{0,20}|[a-zÄ-ü]{0,10}", bytes in byte_orders(), registers in 1u16..12,
    ) {
        let format = Format::Text { registers, bytes };
        match encoded(format, &Value::Text(text.clone())) {
            Ok(words) => prop_assert_eq!(format.decode(&words).unwrap(), Value::Text(text)),
            Err(NoRoom) => prop_assert!(text.len() > usize::from(registers) * 2),
        }
    }
}
