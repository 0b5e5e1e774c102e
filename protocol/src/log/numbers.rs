//! Numbers: base 128 numbers in a row of bytes, as postcard writes them.
//! Owns: nothing.   Gives: writing and bounded reading.
//! May use: nothing of this crate.   Never: what the numbers mean.

/// Appends a number.
pub(crate) fn put(bytes: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        bytes.push((number & 0x7f) as u8 | 0x80);
        number >>= 7;
    }
    bytes.push(number as u8);
}

/// Appends a signed number, zigzag.
pub(crate) fn put_signed(bytes: &mut Vec<u8>, number: i64) {
    put(bytes, zigzag(number));
}

/// How many bytes [`put`] appends.
pub(crate) fn len(number: u64) -> usize {
    let bits = 64 - (number | 1).leading_zeros() as usize;
    bits.div_ceil(7)
}

/// Zigzag of a signed number, as [`put_signed`] writes it.
pub(crate) fn zigzag(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)) as u64
}

/// The signed number of a zigzag.
pub(crate) fn unzigzag(number: u64) -> i64 {
    (number >> 1) as i64 ^ -((number & 1) as i64)
}

/// Bytes that are read from the front.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    /// The next number; `None` at the end, or for one that does not fit.
    #[inline]
    pub(crate) fn number(&mut self) -> Option<u64> {
        let (&first, rest) = self.rest.split_first()?;
        self.rest = rest;
        if first < 0x80 {
            return Some(u64::from(first));
        }
        let mut number = u64::from(first & 0x7f);
        for shift in (7..70).step_by(7) {
            let (&byte, rest) = self.rest.split_first()?;
            self.rest = rest;
            if shift == 63 && byte > 1 {
                return None;
            }
            number |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Some(number);
            }
        }
        None
    }

    /// The next number, as an index.
    #[inline]
    pub(crate) fn index(&mut self) -> Option<usize> {
        usize::try_from(self.number()?).ok()
    }

    /// The next signed number.
    #[inline]
    pub(crate) fn signed(&mut self) -> Option<i64> {
        self.number().map(unzigzag)
    }

    /// The next `len` bytes.
    #[inline]
    pub(crate) fn bytes(&mut self, len: usize) -> Option<&'a [u8]> {
        let (bytes, rest) = self.rest.split_at_checked(len)?;
        self.rest = rest;
        Some(bytes)
    }

    /// The next 32 bytes.
    pub(crate) fn hash(&mut self) -> Option<[u8; 32]> {
        self.bytes(32)?.try_into().ok()
    }

    /// What has not been read.
    pub(crate) fn rest(&self) -> &'a [u8] {
        self.rest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_back_and_are_as_long_as_said() {
        for number in [
            0,
            1,
            127,
            128,
            16_383,
            16_384,
            u64::from(u32::MAX),
            u64::MAX,
        ] {
            let mut bytes = Vec::new();
            put(&mut bytes, number);
            assert_eq!(bytes.len(), len(number));
            assert_eq!(Ok(bytes.clone()), postcard::to_stdvec(&number));
            assert_eq!(Reader::new(&bytes).number(), Some(number));
            assert_eq!(Reader::new(&bytes[..bytes.len() - 1]).number(), None);
        }
        for number in [0, -1, 1, i64::MIN, i64::MAX] {
            let mut bytes = Vec::new();
            put_signed(&mut bytes, number);
            assert_eq!(Ok(bytes.clone()), postcard::to_stdvec(&number));
            assert_eq!(bytes.len(), len(zigzag(number)));
            assert_eq!(Reader::new(&bytes).signed(), Some(number));
        }
        assert_eq!(Reader::new(&[0xff; 20]).number(), None);
    }
}
