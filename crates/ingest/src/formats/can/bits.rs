//! Where a signal lies in a frame's data, and its bits as a whole number.
//!
//! Bit numbers are those of a DBC file: bit 0 is the least significant of byte 0, bit 7 its most significant, bit 8 the
//! least significant of byte 1. An Intel signal starts at its least significant bit and goes up. A Motorola signal starts
//! at its most significant bit and goes down within a byte, then on to bit 7 of the next.

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Little endian.
    Intel,
    /// Big endian.
    Motorola,
}

/// The bits of one signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    start: usize,
    size: usize,
    order: Order,
}

impl Place {
    /// `None` for a signal that no frame can hold or that is no number: data end at byte 1785 (the longest transfer of
    /// SAE J1939-21), numbers at 64 bits.
    pub fn new(start: u64, size: u64, order: Order) -> Option<Self> {
        let (start, size) = (usize::try_from(start).ok()?, usize::try_from(size).ok()?);
        ((1..=64).contains(&size) && start < 1785 * 8).then_some(Self { start, size, order })
    }

    pub fn size(self) -> usize {
        self.size
    }

    /// The bits as they stand, without sign; `None` where the data end before the signal does.
    pub fn raw(self, data: &[u8]) -> Option<u64> {
        let Self { start, size, order } = self;
        let (first, lead) = (start / 8, start % 8);
        // Bits before the signal in its first byte, seen from the end it starts at.
        let lead = if order == Order::Intel { lead } else { 7 - lead };
        let bytes = data.get(first..first + (lead + size).div_ceil(8))?;
        let join = |sum: u128, byte: &u8| sum << 8 | u128::from(*byte);
        let bits = match order {
            Order::Intel => bytes.iter().rev().fold(0, join) >> lead,
            Order::Motorola => bytes.iter().fold(0, join) >> (bytes.len() * 8 - lead - size),
        };
        u64::try_from(bits & ((1_u128 << size) - 1)).ok()
    }

    /// The same bits read as a two's complement.
    pub fn signed(self, raw: u64) -> i64 {
        let unused = 64 - self.size;
        ((raw << unused) as i64) >> unused
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The definition, one bit after the other: which bit of the data holds bit `n` of the number, from the least
    /// significant up.
    fn walk(start: usize, size: usize, order: Order) -> Vec<usize> {
        let mut bit = start;
        let mut bits = Vec::new();
        for _ in 0..size {
            bits.push(bit);
            bit = match order {
                Order::Intel => bit + 1,
                Order::Motorola if bit.is_multiple_of(8) => bit + 15,
                Order::Motorola => bit - 1,
            };
        }
        if order == Order::Motorola {
            bits.reverse();
        }
        bits
    }

    fn put(data: &mut [u8], bits: &[usize], value: u64) {
        for (n, bit) in bits.iter().enumerate() {
            let mask = 1 << (bit % 8);
            data[bit / 8] = data[bit / 8] & !mask | if value >> n & 1 == 1 { mask } else { 0 };
        }
    }

    proptest! {
        #[test]
        fn decoding_undoes_encoding_bit_by_bit(
            start in 0_usize..64, size in 1_usize..=64, motorola: bool, value: u64, noise: [u8; 16],
        ) {
            let order = if motorola { Order::Motorola } else { Order::Intel };
            let value = value & (u64::MAX >> (64 - size));
            let bits = walk(start, size, order);
            let mut data = noise;
            put(&mut data, &bits, value);
            let place = Place::new(start as u64, size as u64, order).unwrap();
            prop_assert_eq!(place.raw(&data), Some(value));
            // Just long enough, and one byte too short.
            let end = bits.iter().max().unwrap() / 8 + 1;
            prop_assert_eq!(place.raw(&data[..end]), Some(value));
            prop_assert_eq!(place.raw(&data[..end - 1]), None);
            let signed = if value >> (size - 1) & 1 == 1 { i128::from(value) - (1_i128 << size) } else { i128::from(value) };
            prop_assert_eq!(i128::from(place.signed(value)), signed);
        }

        #[test]
        fn no_place_panics(start: u64, size: u64, motorola: bool, data: Vec<u8>) {
            let order = if motorola { Order::Motorola } else { Order::Intel };
            if let Some(place) = Place::new(start, size, order) {
                let _ = place.raw(&data);
            }
        }
    }

    #[test]
    fn two_by_hand() {
        // 0x1234 from bit 8: low byte first with Intel; high byte first with Motorola, whose start is bit 15.
        assert_eq!(Place::new(8, 16, Order::Intel).unwrap().raw(&[0, 0x34, 0x12]), Some(0x1234));
        assert_eq!(Place::new(15, 16, Order::Motorola).unwrap().raw(&[0, 0x12, 0x34]), Some(0x1234));
        assert_eq!(Place::new(0, 65, Order::Intel), None);
        assert_eq!(Place::new(0, 0, Order::Intel), None);
        assert_eq!(Place::new(u64::MAX, 1, Order::Intel), None);
    }
}
