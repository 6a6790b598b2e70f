//! A browser that is driven while it runs, over the pipe it offers for that.
//!
//! Decides: nothing; every step is the check's own.
//! Assumes: Chromium's debugging protocol on descriptors 3 and 4, a message up to each zero byte.
//! Never: waits without an end.

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Longest a step may take on a slow machine.
const PATIENCE: Duration = Duration::from_secs(30);

/// A browser with pages.
pub struct Driven {
    child: Child,
    to: ChildStdin,
    from: Receiver<Value>,
    next: u64,
    _profile: TempDir,
}

/// A page of it.
#[derive(Clone, Debug)]
pub struct Page(String);

impl Driven {
    /// Starts `program`.
    ///
    /// # Panics
    /// It does not start.
    pub fn start(program: &Path) -> Self {
        let profile = tempfile::tempdir().expect("a folder for the browser");
        let mut child = Command::new("sh")
            .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>/dev/null"])
            .arg(program)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars"])
            .args(["--disable-background-networking", "--remote-debugging-pipe"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("Chromium starts");
        let (to, out) = (child.stdin.take().expect("piped"), child.stdout.take().expect("piped"));
        let (tell, from) = channel();
        std::thread::spawn(move || {
            let messages = BufReader::new(out).split(0).map_while(Result::ok);
            let told = messages.map_while(|bytes| serde_json::from_slice(&bytes).ok());
            told.map(|one| tell.send(one)).take_while(Result::is_ok).count()
        });
        let mut driven = Self { child, to, from, next: 0, _profile: profile };
        // Started is what answers.
        driven.ask(None, "Browser.getVersion", &json!({}));
        driven
    }
    /// Asks for something; `page` is where.
    ///
    /// # Panics
    /// There is no answer, or it is an error.
    pub fn ask(&mut self, page: Option<&Page>, method: &str, parameters: &Value) -> Value {
        self.next += 1;
        let mut message = json!({ "id": self.next, "method": method, "params": parameters });
        if let Some(Page(session)) = page {
            message["sessionId"] = json!(session);
        }
        self.to.write_all(message.to_string().as_bytes()).expect("the browser listens");
        self.to.write_all(&[0]).expect("the browser listens");
        let until = Instant::now() + PATIENCE;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let told = self.from.recv_timeout(left).unwrap_or_else(|_| panic!("no answer to {method}"));
            if told["id"] == self.next {
                assert!(told["error"].is_null(), "{method}: {told}");
                return told["result"].clone();
            }
        }
    }
    /// Opens a page in a window of this size.
    pub fn open(&mut self, url: &str, width: u32, height: u32, is_dark: bool) -> Page {
        let target = self.ask(None, "Target.createTarget", &json!({ "url": "about:blank" }));
        let attach = json!({ "targetId": target["targetId"], "flatten": true });
        let attached = self.ask(None, "Target.attachToTarget", &attach);
        let page = Page(attached["sessionId"].as_str().unwrap_or_default().to_owned());
        self.size(&page, width, height, is_dark);
        self.ask(Some(&page), "Page.enable", &json!({}));
        self.ask(Some(&page), "Page.navigate", &json!({ "url": url }));
        page
    }
    /// Gives a page this size and these colours.
    pub fn size(&mut self, page: &Page, width: u32, height: u32, is_dark: bool) {
        self.zoomed(page, width, height, 1.0, is_dark);
    }
    /// The same, as a browser at this zoom has it: at a quarter, four times as much page in as many dots.
    pub fn zoomed(&mut self, page: &Page, width: u32, height: u32, zoom: f64, is_dark: bool) {
        let [wide, high] = [width, height].map(|dots| (f64::from(dots) / zoom) as u32);
        let size = json!({ "width": wide, "height": high, "deviceScaleFactor": zoom, "mobile": width < 500 });
        self.ask(Some(page), "Emulation.setDeviceMetricsOverride", &size);
        let scheme = if is_dark { "dark" } else { "light" };
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.ask(Some(page), "Emulation.setEmulatedMedia", &features);
    }
    /// What an expression comes to, waited for.
    ///
    /// # Panics
    /// It throws.
    pub fn value(&mut self, page: &Page, expression: &str) -> Value {
        let what = json!({
            "expression": expression, "awaitPromise": true, "returnByValue": true, "userGesture": true,
        });
        let told = self.ask(Some(page), "Runtime.evaluate", &what);
        assert!(told["exceptionDetails"].is_null(), "{expression}: {told}");
        told["result"]["value"].clone()
    }
    /// Waits until an expression is true.
    ///
    /// # Panics
    /// It is not for too long.
    pub fn wait_for(&mut self, page: &Page, expression: &str) {
        let until = Instant::now() + PATIENCE;
        // Before the page is there whatever is looked for is missing.
        let is_so =
            format!("(() => {{ try {{ return Boolean({expression}); }} catch {{ return false; }} }})()");
        while self.value(page, &is_so) != true {
            let text = self.value(page, "document.body?.innerText");
            assert!(Instant::now() < until, "never: {expression}\n{}", text.as_str().unwrap_or_default());
            std::thread::sleep(Duration::from_millis(50));
        }
    }
    /// A picture of the upper left part of a page, as PNG, so many times as large as it is.
    ///
    /// # Panics
    /// The browser does not draw.
    pub fn picture(&mut self, page: &Page, width: u32, height: u32, scale: f64) -> Vec<u8> {
        let clip = json!({ "x": 0, "y": 0, "width": width, "height": height, "scale": scale });
        let shot = self.ask(Some(page), "Page.captureScreenshot", &json!({ "format": "png", "clip": clip }));
        BASE64_STANDARD.decode(shot["data"].as_str().unwrap_or_default()).expect("a picture")
    }
}

impl Drop for Driven {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
