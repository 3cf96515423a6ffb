//! Every number of the profile, with the document that it comes from.
//!
//! Sources: **M** draft-ietf-suit-manifest-37, **FE** draft-ietf-suit-firmware-encryption, **UM**
//! draft-ietf-suit-update-management-14, and RFCs by number.

/// CBOR tag of a SUIT envelope (M 11).
pub const TAG_ENVELOPE: u64 = 107;
/// CBOR tag of a COSE_Sign1 object (RFC 9052, 2).
pub const TAG_SIGN1: u64 = 18;
/// CBOR tag of a COSE_Encrypt object (RFC 9052, 2).
pub const TAG_ENCRYPT: u64 = 96;

/// Envelope key of the authentication wrapper (M 11.1).
pub const ENVELOPE_WRAPPER: u64 = 2;
/// Envelope key of the manifest (M 11.1).
pub const ENVELOPE_MANIFEST: u64 = 3;
/// Envelope key of the severed text; the manifest states its digest under the same number (M 11.1, 11.2).
pub const TEXT: u64 = 23;
/// Envelope key of the payload, and the URI that the install sequence fetches (M 7.5: any text key; the name is ours).
pub const PAYLOAD_NAME: &str = "#fw";

/// Manifest key: version of the structure (M 11.2).
pub const MANIFEST_VERSION: u64 = 1;
/// The one version of the structure (M 11.2).
pub const STRUCTURE_VERSION: u64 = 1;
/// Manifest key: sequence number (M 11.2).
pub const MANIFEST_SEQUENCE: u64 = 2;
/// Manifest key: common block (M 11.2).
pub const MANIFEST_COMMON: u64 = 3;
/// Manifest key: set-version (UM 3.1, 7.2).
pub const MANIFEST_SET_VERSION: u64 = 6;
/// Manifest key: validate sequence (M 11.2).
pub const MANIFEST_VALIDATE: u64 = 7;
/// Manifest key: invoke sequence (M 11.2).
pub const MANIFEST_INVOKE: u64 = 9;
/// Manifest key: install sequence (M 11.2).
pub const MANIFEST_INSTALL: u64 = 20;

/// Common key: component identifiers (M 11.3).
pub const COMMON_COMPONENTS: u64 = 2;
/// Common key: shared sequence (M 11.3).
pub const COMMON_SHARED: u64 = 4;

/// Component identifier of the flash slot (the values are ours).
pub const COMPONENT_SLOT: [u8; 1] = [0];
/// Component identifier of the payload as it lies in the file.
pub const COMPONENT_PAYLOAD: [u8; 1] = [1];
/// Index of the flash slot among the components.
pub const INDEX_SLOT: u64 = 0;
/// Index of the payload among the components.
pub const INDEX_PAYLOAD: u64 = 1;

/// Condition: vendor identifier (M 11.4).
pub const CONDITION_VENDOR: u64 = 1;
/// Condition: class identifier (M 11.4).
pub const CONDITION_CLASS: u64 = 2;
/// Condition: image match (M 11.4).
pub const CONDITION_IMAGE: u64 = 3;
/// Directive: set component index (M 11.4).
pub const DIRECTIVE_COMPONENT: u64 = 12;
/// Directive: override parameters (M 11.4).
pub const DIRECTIVE_PARAMETERS: u64 = 20;
/// Directive: fetch (M 11.4).
pub const DIRECTIVE_FETCH: u64 = 21;
/// Directive: copy (M 11.4).
pub const DIRECTIVE_COPY: u64 = 22;
/// Directive: invoke (M 11.4).
pub const DIRECTIVE_INVOKE: u64 = 23;

/// Parameter: vendor identifier, a UUID (M 11.5).
pub const PARAMETER_VENDOR: u64 = 1;
/// Parameter: class identifier, a UUID (M 11.5).
pub const PARAMETER_CLASS: u64 = 2;
/// Parameter: image digest (M 11.5).
pub const PARAMETER_DIGEST: u64 = 3;
/// Parameter: image size in bytes (M 11.5).
pub const PARAMETER_SIZE: u64 = 14;
/// Parameter: encryption information (FE 12; the draft's text still says "TBD19", its examples use 19).
pub const PARAMETER_ENCRYPTION: u64 = 19;
/// Parameter: URI (M 11.5).
pub const PARAMETER_URI: u64 = 21;
/// Parameter: source component, an index (M 11.5).
pub const PARAMETER_SOURCE: u64 = 22;

/// Reporting policy that we write after conditions: all four bits (M 8.4.7).
pub const REPORT_CONDITION: u64 = 15;
/// Reporting policy that we write after fetch, copy and invoke: record a failure (M 8.4.7).
pub const REPORT_DIRECTIVE: u64 = 2;
/// Greatest reporting policy: all four bits (M 8.4.7). It is a hint; readers take any value up to this.
pub const REPORT_MAX: u64 = 15;

/// SHA-256 (M 10).
pub const ALG_SHA256: i64 = -16;
/// Ed25519, fully specified (RFC 9864, 2.2).
pub const ALG_ED25519: i64 = -19;
/// HSS-LMS (RFC 8778, 6.1).
pub const ALG_HSS_LMS: i64 = -46;
/// AES key wrap with a 256-bit key (RFC 9053, 6.2.1).
pub const ALG_A256KW: i64 = -5;
/// AES-256 in counter mode (RFC 9459, 4.2).
pub const ALG_A256CTR: i64 = -65532;

/// COSE header label: algorithm (RFC 9052, 3.1).
pub const LABEL_ALG: u64 = 1;
/// COSE header label: key identifier (RFC 9052, 3.1).
pub const LABEL_KID: u64 = 4;
/// COSE header label: initialisation vector (RFC 9052, 3.1).
pub const LABEL_IV: u64 = 5;

/// Text key: description of the manifest (M 11.6).
pub const TEXT_MANIFEST_DESCRIPTION: u64 = 1;
/// Text key: description of the update (M 11.6).
pub const TEXT_UPDATE_DESCRIPTION: u64 = 2;
