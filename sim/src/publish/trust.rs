//! Which brokers are believed over TLS.
//!
//! Decides: those with a certificate of an authority that is named, else of one that this machine trusts.
//! Never: believes one without: there is no way to turn the check off.

use crate::output::named;
use anyhow::{Context as _, bail};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use rustls::{ClientConfig, RootCertStore};
use std::path::Path;
use std::sync::Arc;

/// How a broker is checked; `authorities` is a PEM file.
///
/// # Errors
/// It cannot be read or has no certificate; or this machine trusts nobody.
pub fn checks(authorities: Option<&Path>) -> anyhow::Result<Arc<ClientConfig>> {
    let mut roots = RootCertStore::empty();
    if let Some(path) = authorities {
        let faulty = || format!("cannot read certificates from {}", named(path));
        for certificate in CertificateDer::pem_file_iter(path).with_context(faulty)? {
            roots.add(certificate.with_context(faulty)?).with_context(faulty)?;
        }
        if roots.is_empty() {
            bail!("{}: no certificate in it; expected a PEM file with BEGIN CERTIFICATE", named(path));
        }
    } else {
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        if roots.is_empty() {
            bail!(
                "this machine has no certificates of authorities to check a broker by; name one with --publish-ca"
            );
        }
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider).with_safe_default_protocol_versions()?;
    Ok(Arc::new(config.with_root_certificates(roots).with_no_client_auth()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_without_a_certificate_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("ca.pem");
        assert!(checks(Some(&path)).is_err(), "there is none");
        std::fs::write(&path, "none\n").expect("written");
        let told = format!("{:#}", checks(Some(&path)).expect_err("refused"));
        assert!(told.contains("ca.pem") && told.contains("BEGIN CERTIFICATE"), "{told}");
    }
}
