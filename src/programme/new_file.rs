//! New files: written beside their place and put there when they are whole, never over another one unasked.

use super::ProgrammeError;
use super::inputs::input_at;
use super::own::is_replaceable;
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{Error, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::{Builder, NamedTempFile};

/// Temporary files of this process that are not in their place yet. Their names are made and given up under this lock.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes every file that is still being written, then calls `end`, which is meant to end the process: while it runs,
/// no file is begun and none is put in its place. For interrupts, which drop nothing.
pub fn abandon_unfinished<T>(end: impl FnOnce() -> T) -> T {
    let mut unfinished = unfinished();
    for path in std::mem::take(&mut *unfinished) {
        // What cannot be removed now cannot be removed by anybody.
        let _ = std::fs::remove_file(path);
    }
    end()
}

/// What to do about a file that is there already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overwrite {
    /// Leave it alone and fail.
    Refuse,
    /// Replace it when the new one is whole, if it is of our making and of the same kind, and this process does not read it.
    Force,
    /// Replace it, though this process has read it: it is the same file anew.
    Renew,
}

/// A file that is being written. Dropped before [`NewFile::keep`], it leaves nothing behind.
#[derive(Debug)]
pub struct NewFile {
    path: PathBuf,
    /// Where it will be: what `path` leads to, if that is a link.
    place: PathBuf,
    overwrite: Overwrite,
    temporary: NamedTempFile,
    /// Dropped after `temporary`, which removes the file.
    listed: Listed,
}

/// A place in the list of unfinished files, given up when dropped.
#[derive(Debug)]
struct Listed(PathBuf);

impl Drop for Listed {
    fn drop(&mut self) {
        unfinished().remove(&self.0);
    }
}

impl NewFile {
    /// Opens a temporary file in the folder of `path`.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::Exists`], [`ProgrammeError::IsInput`], [`ProgrammeError::NotOurs`] or [`ProgrammeError::Unwritable`].
    pub fn create(path: &Path, overwrite: Overwrite) -> Result<Self, ProgrammeError> {
        let unwritable = |source| ProgrammeError::Unwritable { file: path.into(), source };
        if path.is_dir() {
            return Err(unwritable(Error::other("this is a folder")));
        }
        // Replacing a device or a pipe would take it from everybody.
        if path.metadata().is_ok_and(|there| !there.is_file()) {
            return Err(unwritable(Error::other("this is a device or a pipe, no file")));
        }
        spare_inputs(path, overwrite)?;
        // symlink_metadata: a dangling link is a file of somebody's, too.
        if overwrite == Overwrite::Refuse && path.symlink_metadata().is_ok() {
            return Err(ProgrammeError::Exists { file: path.into() });
        }
        // A link stays one: what it leads to is replaced.
        let place = if path.is_symlink() {
            path.canonicalize().map_err(|_| {
                unwritable(Error::other("this is a link that leads nowhere, remove it or give another name"))
            })?
        } else {
            path.to_owned()
        };
        spare_others(path, &place, overwrite, None)?;
        // A new file takes an old one's place without the system asking whether that one may be written.
        if place.metadata().is_ok_and(|there| there.permissions().readonly()) {
            return Err(unwritable(Error::other("it is write-protected")));
        }
        let folder = match place.parent() {
            Some(folder) if folder != Path::new("") => folder,
            _ => Path::new("."),
        };
        let mut builder = Builder::new();
        builder.prefix(".deckproof-").suffix(".part");
        // Temporary files are private by default; what is kept shall be as readable as any new file.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut unfinished = unfinished();
        let temporary = builder.tempfile_in(folder).map_err(|source| {
            // The reason alone: the temporary file's name, which comes with it, is nobody's concern.
            unwritable(match source.kind() {
                ErrorKind::NotFound | ErrorKind::NotADirectory => Error::other("there is no such folder"),
                kind => Error::from(kind),
            })
        })?;
        let listed = temporary.path().to_owned();
        unfinished.insert(listed.clone());
        Ok(Self { path: path.into(), place, overwrite, temporary, listed: Listed(listed) })
    }

    /// Where the file will be.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// A handle to write through.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::Unwritable`].
    pub fn handle(&self) -> Result<File, ProgrammeError> {
        self.temporary.reopen().map_err(|source| self.unwritable(source))
    }

    /// Puts the finished file in its place.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::Exists`] if a file has appeared there meanwhile, [`ProgrammeError::NotOurs`] if one of another kind is
    /// to be replaced, [`ProgrammeError::IsInput`], or [`ProgrammeError::Unwritable`].
    pub fn keep(self) -> Result<(), ProgrammeError> {
        let Self { path, place, overwrite, temporary, listed } = self;
        // Once more: what was read since stands in the list as well.
        spare_inputs(&path, overwrite)?;
        spare_others(&path, &place, overwrite, Some(temporary.path()))?;
        if let Ok(there) = place.metadata() {
            // Who may read it stays as it was; where that cannot be told the new file has the usual rights.
            let _ = temporary.as_file().set_permissions(there.permissions());
        }
        let kept = temporary.as_file().sync_all().map_err(|source| (source, false)).and_then(|()| {
            let mut unfinished = unfinished();
            let kept = match overwrite {
                Overwrite::Refuse => temporary.persist_noclobber(&place),
                Overwrite::Force | Overwrite::Renew => temporary.persist(&place),
            };
            if kept.is_ok() {
                unfinished.remove(&listed.0);
            }
            kept.map_err(|error| (error.error, true))
        });
        match kept {
            Ok(_) => Ok(()),
            Err((source, true)) if source.kind() == ErrorKind::AlreadyExists => {
                Err(ProgrammeError::Exists { file: path })
            }
            Err((source, _)) => Err(ProgrammeError::Unwritable { file: path, source }),
        }
    }

    fn unwritable(&self, source: Error) -> ProgrammeError {
        ProgrammeError::Unwritable { file: self.path.clone(), source }
    }
}

/// Refuses to replace a file that this process reads.
fn spare_inputs(path: &Path, overwrite: Overwrite) -> Result<(), ProgrammeError> {
    match input_at(path).filter(|_| overwrite != Overwrite::Renew) {
        Some(input) => Err(ProgrammeError::IsInput { file: path.into(), input }),
        None => Ok(()),
    }
}

/// Refuses to replace a file that is not of our making, or, by the one at `by`, of another kind.
fn spare_others(
    path: &Path,
    place: &Path,
    overwrite: Overwrite,
    by: Option<&Path>,
) -> Result<(), ProgrammeError> {
    let spared = overwrite == Overwrite::Force && place.exists() && !is_replaceable(place, by);
    if spared { Err(ProgrammeError::NotOurs { file: path.into() }) } else { Ok(()) }
}

/// Removes the file at `path` if it is of our making and this process does not read it.
pub fn remove_own(path: &Path) {
    if is_replaceable(path, None) && input_at(path).is_none() {
        // What cannot be removed does no harm: it is only older.
        let _ = std::fs::remove_file(path);
    }
}

/// Writes a text file, whole or not at all.
///
/// # Errors
///
/// [`ProgrammeError::Exists`] or [`ProgrammeError::Unwritable`].
pub fn write_text(path: &Path, text: &str, overwrite: Overwrite) -> Result<(), ProgrammeError> {
    let file = NewFile::create(path, overwrite)?;
    file.handle()?.write_all(text.as_bytes()).map_err(|source| file.unwritable(source))?;
    file.keep()
}

#[cfg(test)]
mod tests {
    use super::super::own::CUE_MARK;
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect()
    }

    #[test]
    fn refuses_to_overwrite_without_force() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sheet.txt");
        write_text(&path, "first", Overwrite::Refuse).unwrap();
        let error = write_text(&path, "second", Overwrite::Refuse).unwrap_err();
        assert!(matches!(error, ProgrammeError::Exists { .. }), "{error}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "first");
        let error = write_text(&path, "third", Overwrite::Force).unwrap_err();
        assert!(matches!(error, ProgrammeError::NotOurs { .. }), "{error}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "first");
        let [old, new] = ["old", "new"].map(|text| format!("{CUE_MARK}{text}"));
        std::fs::write(&path, &old).unwrap();
        write_text(&path, &new, Overwrite::Force).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), new);
        assert_eq!(names(folder.path()), ["sheet.txt"]);
    }

    #[test]
    fn a_file_that_appears_meanwhile_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sheet.txt");
        let file = NewFile::create(&path, Overwrite::Refuse).unwrap();
        std::fs::write(&path, "somebody else's").unwrap();
        assert!(matches!(file.keep().unwrap_err(), ProgrammeError::Exists { .. }));
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "somebody else's");
        assert_eq!(names(folder.path()), ["sheet.txt"]);
    }

    #[test]
    fn an_unfinished_file_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let file = NewFile::create(&folder.path().join("a.wav"), Overwrite::Refuse).unwrap();
        file.handle().unwrap().write_all(b"half").unwrap();
        drop(file);
        assert!(names(folder.path()).is_empty());
    }

    #[test]
    fn a_missing_folder_and_a_folder_in_the_way_are_named() {
        let folder = tempfile::tempdir().unwrap();
        for path in [folder.path().join("no/where.txt"), folder.path().to_path_buf()] {
            let message = write_text(&path, "", Overwrite::Force).unwrap_err().to_string();
            assert!(message.starts_with(&path.display().to_string()), "{message}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_device_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("link.json");
        std::os::unix::fs::symlink("/dev/null", &link).unwrap();
        // Only tried: whoever runs this may be allowed to replace /dev/null.
        for path in [Path::new("/dev/null"), &link] {
            let error = NewFile::create(path, Overwrite::Force).unwrap_err().to_string();
            assert!(error.contains("a device or a pipe"), "{error}");
        }
        assert_eq!(names(folder.path()), ["link.json"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_one_and_rights_stay_as_they_were() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().unwrap();
        let [place, link, nowhere] = ["place", "link", "nowhere"].map(|name| folder.path().join(name));
        std::fs::write(&place, CUE_MARK).unwrap();
        std::fs::set_permissions(&place, PermissionsExt::from_mode(0o640)).unwrap();
        symlink("place", &link).unwrap();
        symlink("gone", &nowhere).unwrap();
        let new = format!("{CUE_MARK}new");
        write_text(&link, &new, Overwrite::Force).unwrap();
        assert!(link.is_symlink());
        assert_eq!(std::fs::read_to_string(&place).unwrap(), new);
        assert_eq!(place.metadata().unwrap().permissions().mode() & 0o777, 0o640);
        for (overwrite, words) in [(Overwrite::Force, "leads nowhere"), (Overwrite::Refuse, "exists already")]
        {
            let error = write_text(&nowhere, &new, overwrite).unwrap_err().to_string();
            assert!(error.contains(words), "{error}");
        }
        std::fs::set_permissions(&place, PermissionsExt::from_mode(0o440)).unwrap();
        let error = write_text(&place, CUE_MARK, Overwrite::Force).unwrap_err().to_string();
        assert!(error.contains("write-protected"), "{error}");
        assert_eq!(std::fs::read_to_string(&place).unwrap(), new);
        assert_eq!(names(folder.path()).len(), 3);
    }

    #[cfg(unix)]
    #[test]
    fn a_kept_file_is_as_readable_as_any_new_file() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let (ours, plain) = (folder.path().join("ours"), folder.path().join("plain"));
        write_text(&ours, "", Overwrite::Refuse).unwrap();
        std::fs::write(&plain, "").unwrap();
        let mode = |path: &Path| path.metadata().unwrap().permissions().mode();
        assert_eq!(mode(&ours), mode(&plain));
    }
}
