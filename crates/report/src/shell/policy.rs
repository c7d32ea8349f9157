//! The Content-Security-Policy of a page (W3C, Content Security Policy Level 3): nothing but what is listed by digest.

use std::fmt;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest as _, Sha256};

#[derive(Debug, Default)]
pub struct Policy {
    scripts: Vec<String>,
    styles: Vec<String>,
    pictures: Vec<String>,
}

impl Policy {
    pub fn script(&mut self, text: &str) {
        self.scripts.push(digest(text));
    }

    pub fn style(&mut self, text: &str) {
        self.styles.push(digest(text));
    }

    pub fn pictures(&mut self) {
        self.pictures.push("'self'".to_owned());
    }

    /// Lets in files that lie beside the page. A browser can take no digest of a file that it reads from a disk.
    pub fn files(&mut self, styles: bool, scripts: bool) {
        for (wanted, list) in [(styles, &mut self.styles), (scripts, &mut self.scripts)] {
            if wanted {
                list.insert(0, "'self'".to_owned());
            }
        }
    }
}

impl fmt::Display for Policy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "default-src 'none'; base-uri 'none'; form-action 'none'")?;
        for (directive, list) in
            [("script-src", &self.scripts), ("style-src", &self.styles), ("img-src", &self.pictures)]
        {
            if !list.is_empty() {
                write!(f, "; {directive} {}", list.join(" "))?;
            }
        }
        Ok(())
    }
}

fn digest(text: &str) -> String {
    format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text.as_bytes())))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of Content Security Policy Level 3, section 6.7.3.3, recomputed with openssl.
    #[test]
    fn a_digest_is_the_standard_s() {
        assert_eq!(digest("alert('Hello, world.');"), "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='");
    }
}
