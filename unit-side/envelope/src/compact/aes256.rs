//! AES-256 (FIPS 197), a word at a time, with a substitution table that is worked out in RAM for each use.
//!
//! Table look-ups take the same time whatever is looked up where RAM has no cache in front of it: on every Cortex-M0, M3 and M4.
//! On a core with a data cache the stack should lie in tightly coupled memory.

use zeroize::Zeroize;

const ROUNDS: usize = 14;

/// A round's key, and the state: four columns (FIPS 197, 3.4), the first row in the lowest bits.
pub type Columns = [u32; 4];

/// Both directions of the substitution (FIPS 197, 5.1.1), worked out from its definition.
struct Tables {
    forward: [u8; 256],
    inverse: [u8; 256],
}

impl Tables {
    /// Walks the field's elements as powers of 3, and their inverses beside them as powers of 1/3.
    #[inline(never)]
    fn new() -> Self {
        let mut tables = Self {
            forward: [0; 256],
            inverse: [0; 256],
        };
        let (mut power, mut inverse) = (1_u8, 1_u8);
        for _ in 0..255 {
            let mixed = inverse
                ^ inverse.rotate_left(1)
                ^ inverse.rotate_left(2)
                ^ inverse.rotate_left(3)
                ^ inverse.rotate_left(4);
            tables.put(power, mixed ^ 0x63);
            power ^= double(power);
            // Times 0xf6, which is 1/3.
            inverse ^= inverse << 1;
            inverse ^= inverse << 2;
            inverse ^= inverse << 4;
            inverse ^= (inverse >> 7) * 0x09;
        }
        tables.put(0, 0x63);
        tables
    }

    /// The last of four columns, substituted.
    #[inline(never)]
    fn substituted(&self, [.., last]: Columns) -> u32 {
        gather(&self.forward, [last; 4])
    }

    fn put(&mut self, byte: u8, substitute: u8) {
        self.forward[usize::from(byte)] = substitute;
        self.inverse[usize::from(substitute)] = byte;
    }
}

const fn double(byte: u8) -> u8 {
    (byte << 1) ^ ((byte >> 7) * 0x1b)
}

/// The byte of each row from the columns given, substituted.
#[inline(always)]
fn gather(table: &[u8; 256], columns: Columns) -> u32 {
    let [first, second, third, fourth] = columns;
    let at = |column: u32, row: u32| u32::from(table[usize::from((column >> (8 * row)) as u8)]) << (8 * row);
    at(first, 0) | at(second, 1) | at(third, 2) | at(fourth, 3)
}

/// MixColumns of one column (FIPS 197, 5.1.3).
#[inline(always)]
const fn mix(column: u32) -> u32 {
    let doubled = ((column & 0x7f7f_7f7f) << 1) ^ (((column >> 7) & 0x0101_0101) * 0x1b);
    doubled ^ (doubled ^ column).rotate_right(8) ^ column.rotate_right(16) ^ column.rotate_right(24)
}

#[inline(always)]
fn add(state: Columns, key: Columns) -> Columns {
    let ([a, b, c, d], [e, f, g, h]) = (state, key);
    [a ^ e, b ^ f, c ^ g, d ^ h]
}

/// A key, ready for use.
pub struct Aes256 {
    tables: Tables,
    /// For the first addition, and for each round but the last.
    keys: [Columns; ROUNDS],
    last: Columns,
}

impl Drop for Aes256 {
    fn drop(&mut self) {
        self.keys.zeroize();
        self.last.zeroize();
    }
}

impl Aes256 {
    /// Expands a key (FIPS 197, 5.2).
    pub fn new(key: &[u8; 32]) -> Self {
        let tables = Tables::new();
        let mut keys = [[0; 4]; ROUNDS];
        let (mut near, mut far) = halves(key);
        let mut constant = 1_u8;
        for [first, second] in keys.as_chunks_mut::<2>().0 {
            (*first, *second) = (near, far);
            near = next(near, tables.substituted(far).rotate_right(8) ^ u32::from(constant));
            far = next(far, tables.substituted(near));
            constant = double(constant);
        }
        Self {
            tables,
            keys,
            last: near,
        }
    }

    /// Encrypts a block (FIPS 197, 5.1).
    #[inline(never)]
    pub fn encrypt(&self, block: Columns) -> Columns {
        let table = &self.tables.forward;
        let mut state = block;
        let mut keys = self.keys.iter();
        if let Some(key) = keys.next() {
            state = add(state, *key);
        }
        loop {
            let [a, b, c, d] = state;
            let e = gather(table, [a, b, c, d]);
            let f = gather(table, [b, c, d, a]);
            let g = gather(table, [c, d, a, b]);
            let h = gather(table, [d, a, b, c]);
            // The last round mixes nothing.
            let Some(key) = keys.next() else {
                return add([e, f, g, h], self.last);
            };
            state = add([mix(e), mix(f), mix(g), mix(h)], *key);
        }
    }

    /// Decrypts a block (FIPS 197, 5.3). Short rather than fast: it unwraps a key now and then, and nothing else.
    #[inline(never)]
    pub fn decrypt(&self, block: Columns) -> Columns {
        let mut state = add(block, self.last);
        for (left, key) in self.keys.iter().enumerate().rev() {
            state = add(self.unshifted(state), *key);
            if left > 0 {
                state.iter_mut().for_each(|column| *column = unmix(*column));
            }
        }
        state
    }

    /// InvShiftRows and InvSubBytes (FIPS 197, 5.3.1 and 5.3.2): byte i comes from byte 13 i, of 16.
    fn unshifted(&self, state: Columns) -> Columns {
        let shifted = bytes(state);
        let mut out = [0; 16];
        for (at, place) in out.iter_mut().enumerate() {
            *place = self.tables.inverse[usize::from(shifted[at * 13 % 16])];
        }
        columns(out)
    }
}

/// Mixing four times changes nothing, so three times undo one.
fn unmix(column: u32) -> u32 {
    (0..3).fold(column, |column, _| mix(column))
}

/// The next four words of the key schedule, from four and what is mixed into their first.
#[inline(never)]
fn next(words: Columns, mixed: u32) -> Columns {
    let [a, b, c, d] = words;
    let a = a ^ mixed;
    let b = b ^ a;
    let c = c ^ b;
    [a, b, c, d ^ c]
}

fn halves(key: &[u8; 32]) -> (Columns, Columns) {
    let [a, b, c, d, e, f, g, h] = super::scalar::words(key);
    ([a, b, c, d], [e, f, g, h])
}

/// Columns of 16 bytes.
fn columns(block: [u8; 16]) -> Columns {
    let mut out = [0; 4];
    for (column, bytes) in out.iter_mut().zip(block.as_chunks::<4>().0) {
        *column = u32::from_le_bytes(*bytes);
    }
    out
}

/// 16 bytes of columns.
fn bytes(columns: Columns) -> [u8; 16] {
    let mut out = [0; 16];
    for (bytes, column) in out.as_chunks_mut::<4>().0.iter_mut().zip(&columns) {
        *bytes = column.to_le_bytes();
    }
    out
}

/// Adds the key stream of counter mode (RFC 9459, 4) to `data`, which lies `offset` bytes from the start.
pub fn apply_counter_mode(key: &[u8; 32], iv: &[u8; 16], offset: u32, data: &mut [u8]) {
    let cipher = Aes256::new(key);
    let mut counter = u128::from_be_bytes(*iv).wrapping_add(u128::from(offset / 16));
    let mut skipped = (offset % 16) as usize;
    let mut rest = data;
    while !rest.is_empty() {
        let stream = cipher.encrypt(columns(counter.to_be_bytes()));
        counter = counter.wrapping_add(1);
        let (now, later) = rest.split_at_mut(rest.len().min(16_usize.wrapping_sub(skipped)));
        match <&mut [u8; 16]>::try_from(&mut *now) {
            Ok(block) => *block = bytes(add(columns(*block), stream)),
            Err(_) => {
                for (byte, key) in now.iter_mut().zip(bytes(stream).get(skipped..).unwrap_or_default()) {
                    *byte ^= key;
                }
            }
        }
        skipped = 0;
        rest = later;
    }
}

/// Unwraps a 256-bit key (RFC 3394, 2.2.2). `None` if the check value does not hold.
pub fn unwrap(key: &[u8; 32], wrapped: &[u8; 40]) -> Option<[u8; 32]> {
    let cipher = Aes256::new(key);
    let (words, _) = wrapped.as_chunks::<8>();
    let [mut check, mut registers @ ..] = words.first_chunk::<5>()?.map(u64::from_be_bytes);
    let mut step = 24_u64;
    for _ in 0..6 {
        for register in registers.iter_mut().rev() {
            let block = u128::from(check ^ step) << 64 | u128::from(*register);
            let block = u128::from_be_bytes(bytes(cipher.decrypt(columns(block.to_be_bytes()))));
            check = (block >> 64) as u64;
            *register = block as u64;
            step = step.wrapping_sub(1);
        }
    }
    let mut out = [0; 32];
    for (place, register) in out.as_chunks_mut::<8>().0.iter_mut().zip(&registers) {
        *place = register.to_be_bytes();
    }
    registers.zeroize();
    // One comparison of whole words: nothing tells how much of the value held.
    if check == 0xa6a6_a6a6_a6a6_a6a6 {
        return Some(out);
    }
    out.zeroize();
    None
}
