//! Vendor and class identifiers: what tells a unit that an update file is meant for it.
//!
//! Both are UUIDs of version 5, RFC 9562 section 5.5. The SUIT manifest, section 8.4.8.2, derives the vendor identifier
//! from the vendor's domain and the class identifier from the vendor identifier and whatever tells the classes apart.

pub use uuid::Uuid;

/// The vendor identifier of a maker: the UUIDv5 of `domain` in the DNS name space of RFC 9562 section 6.6.
///
/// The domain is hashed byte for byte, so its letters' case counts; a product file only takes lower case.
pub fn vendor_id(domain: &str) -> Uuid {
    Uuid::new_v5(&Uuid::NAMESPACE_DNS, domain.as_bytes())
}

/// The class identifier of a board revision: the UUIDv5 of `model` in the name space of the vendor identifier.
///
/// Units carry it for life: once a unit has left the workshop, neither the domain nor the model text may change.
pub fn class_id(vendor: &Uuid, model: &str) -> Uuid {
    Uuid::new_v5(vendor, model.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9562 appendix A.4: the name-based UUID of www.example.com in the DNS name space.
    #[test]
    fn rfc_9562_example_of_version_5() {
        assert_eq!(
            vendor_id("www.example.com").to_string(),
            "2ed6657d-e927-568b-95e1-2665a8aea6a2"
        );
    }

    /// The class identifier of the SUIT manifest draft's published examples (appendix B): their vendor identifier, and
    /// "suit" as the class-specific information.
    #[test]
    fn suit_manifest_example_class() {
        let vendor = Uuid::from_u128(0xfa6b4a53_d5ad_5fdf_be9d_e663e4d41ffe);
        assert_eq!(
            class_id(&vendor, "suit").to_string(),
            "1492af14-2569-5e48-bf42-9b2d51f2ab45"
        );
    }
}
