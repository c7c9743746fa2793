//! Numbers as if by chance, the same in every run with the same seed.

/// xorshift64* (Vigna, 2016), seeded: a failure is repeated by its seed.
pub(crate) struct Luck(pub(crate) u64);

impl Luck {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % end as u64).unwrap()
    }
}
