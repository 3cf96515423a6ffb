//! Points of edwards25519 (RFC 8032, 5.1) in extended coordinates.

use super::field::{Field, INVERSE, ROOT};
use super::scalar::bit;

/// d = -121665/121666.
const D: Field = Field::new([
    0x1359_78a3,
    0x75eb_4dca,
    0x4141_d8ab,
    0x0070_0a4d,
    0x7779_e898,
    0x8cc7_4079,
    0x2b6f_fe73,
    0x5203_6cee,
]);
/// The square root of -1 with an even lowest bit.
const ROOT_OF_MINUS_ONE: Field = Field::new([
    0x4a0e_a0b0,
    0xc4ee_1b27,
    0xad2f_e478,
    0x2f43_1806,
    0x3dfb_d7a7,
    0x2b4d_0099,
    0x4fc1_df0b,
    0x2b83_2480,
]);
const BASE_X: Field = Field::new([
    0x8f25_d51a,
    0xc956_2d60,
    0x9525_a7b2,
    0x692c_c760,
    0xfdd6_dc5c,
    0xc0a4_e231,
    0xcd6e_53fe,
    0x2169_36d3,
]);
const BASE_Y: Field = Field::new([
    0x6666_6658,
    0x6666_6666,
    0x6666_6666,
    0x6666_6666,
    0x6666_6666,
    0x6666_6666,
    0x6666_6666,
    0x6666_6666,
]);

/// A point: (x/z, y/z), and t = xy/z.
#[derive(Clone, Copy)]
pub(super) struct Point {
    x: Field,
    y: Field,
    z: Field,
    t: Field,
}

impl Point {
    fn of(x: Field, y: Field) -> Self {
        Self {
            x,
            y,
            z: Field::ONE,
            t: x.mul(&y),
        }
    }

    pub(super) fn base() -> Self {
        Self::of(BASE_X, BASE_Y)
    }

    /// The point that 32 bytes encode (RFC 8032, 5.1.3); `None` if there is none.
    pub(super) fn decode(bytes: &[u8; 32]) -> Option<Self> {
        let y = Field::from_bytes(bytes);
        let square = y.square();
        let u = square.sub(&Field::ONE);
        let v = square.mul(&D).add(&Field::ONE);
        let v3 = v.square().mul(&v);
        let mut x = v3.square().mul(&v).mul(&u).power(&ROOT).mul(&v3).mul(&u);
        let found = x.square().mul(&v);
        if !found.is(&u) {
            if !found.add(&u).is_zero() {
                return None;
            }
            x = x.mul(&ROOT_OF_MINUS_ONE);
        }
        let odd = bytes.last().is_some_and(|byte| byte >> 7 == 1);
        if x.is_odd() != odd {
            x = Field::ZERO.sub(&x);
        }
        Some(Self::of(x, y))
    }

    /// The point's encoding (RFC 8032, 5.1.2).
    pub(super) fn encode(&self) -> [u8; 32] {
        let inverse = self.z.power(&INVERSE);
        let mut bytes = self.y.mul(&inverse).to_bytes();
        if self.x.mul(&inverse).is_odd()
            && let Some(top) = bytes.last_mut()
        {
            *top |= 0x80;
        }
        bytes
    }

    /// Addition that holds for any two points, equal ones too (RFC 8032, 5.1.4).
    #[inline(never)]
    pub(super) fn add(&self, other: &Self) -> Self {
        let a = self.y.sub(&self.x).mul(&other.y.sub(&other.x));
        let b = self.y.add(&self.x).mul(&other.y.add(&other.x));
        let c = self.t.mul(&D).mul(&other.t);
        let c = c.add(&c);
        let d = self.z.mul(&other.z);
        let d = d.add(&d);
        let (e, f, g, h) = (b.sub(&a), d.sub(&c), d.add(&c), b.add(&a));
        Self {
            x: e.mul(&f),
            y: g.mul(&h),
            z: f.mul(&g),
            t: e.mul(&h),
        }
    }

    pub(super) fn negate(&self) -> Self {
        Self {
            x: Field::ZERO.sub(&self.x),
            t: Field::ZERO.sub(&self.t),
            ..*self
        }
    }

    /// Whether eight times the point is the neutral one.
    pub(super) fn is_of_small_order(&self) -> bool {
        let mut point = *self;
        for _ in 0..3 {
            point = point.add(&point);
        }
        point.x.is_zero() && point.y.is(&point.z)
    }

    /// first × self + second × other, both at once.
    pub(super) fn sum_of_products(&self, first: &[u32; 8], other: &Self, second: &[u32; 8]) -> Self {
        let both = self.add(other);
        // The neutral point, worked out: shorter than written down.
        let mut sum = self.add(&self.negate());
        // Scalars are below 2^253.
        for at in (0..253).rev() {
            sum = sum.add(&sum);
            let term = match (bit(first, at), bit(second, at)) {
                (true, true) => &both,
                (true, false) => self,
                (false, true) => other,
                (false, false) => continue,
            };
            sum = sum.add(term);
        }
        sum
    }
}
