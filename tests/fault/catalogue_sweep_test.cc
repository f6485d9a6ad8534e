// Fails every operation of SQLite on the catalogue's files in turn, once or from then on, beneath a whole visit:
// without a catalogue nothing is verified, no yes is wrong, and with the fault gone another visit brings everything.
// EVERYTAKE_CATALOGUE_FAULTS says how many (60 where it is not set): the sweep spreads them evenly.
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <atomic>
#include <cstdlib>
#include <cstring>

#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake {
namespace {

// What the filesystem beneath SQLite is asked, counted; one of these calls fails, or all from it on.
struct Faults {
  std::atomic<int> calls{0};
  std::atomic<int> fail_at{0};  // 0: none
  std::atomic<bool> for_good{false};
  bool meets() {
    const int now = ++calls;
    return fail_at != 0 && (now == fail_at || (for_good && now > fail_at));
  }
};

Faults faults;
sqlite3_vfs* beneath = nullptr;

// SQLite's own file follows this one in the memory it gives.
struct File {
  sqlite3_file base;
  sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};
sqlite3_file* real(sqlite3_file* file) {
  return reinterpret_cast<File*>(file)->real();
}

int close_file(sqlite3_file* file) {
  return real(file)->pMethods->xClose(real(file));
}
int read_file(sqlite3_file* file, void* to, int size, sqlite3_int64 at) {
  return faults.meets() ? SQLITE_IOERR_READ : real(file)->pMethods->xRead(real(file), to, size, at);
}
int write_file(sqlite3_file* file, const void* from, int size, sqlite3_int64 at) {
  return faults.meets() ? SQLITE_FULL : real(file)->pMethods->xWrite(real(file), from, size, at);
}
int truncate_file(sqlite3_file* file, sqlite3_int64 size) {
  return faults.meets() ? SQLITE_IOERR_TRUNCATE : real(file)->pMethods->xTruncate(real(file), size);
}
int sync_file(sqlite3_file* file, int flags) {
  return faults.meets() ? SQLITE_IOERR_FSYNC : real(file)->pMethods->xSync(real(file), flags);
}
int size_of_file(sqlite3_file* file, sqlite3_int64* size) {
  return faults.meets() ? SQLITE_IOERR_FSTAT : real(file)->pMethods->xFileSize(real(file), size);
}
int lock_file(sqlite3_file* file, int level) {
  return faults.meets() ? SQLITE_IOERR_LOCK : real(file)->pMethods->xLock(real(file), level);
}
int unlock_file(sqlite3_file* file, int level) {
  return real(file)->pMethods->xUnlock(real(file), level);
}
int is_reserved(sqlite3_file* file, int* result) {
  return real(file)->pMethods->xCheckReservedLock(real(file), result);
}
int control_file(sqlite3_file* file, int operation, void* argument) {
  return real(file)->pMethods->xFileControl(real(file), operation, argument);
}
int sector_size(sqlite3_file* file) {
  return real(file)->pMethods->xSectorSize(real(file));
}
int characteristics(sqlite3_file* file) {
  return real(file)->pMethods->xDeviceCharacteristics(real(file));
}

const sqlite3_io_methods kMethods{
    1,         close_file,  read_file,   write_file,   truncate_file, sync_file,       size_of_file,
    lock_file, unlock_file, is_reserved, control_file, sector_size,   characteristics, nullptr,
    nullptr,   nullptr,     nullptr,     nullptr,      nullptr};

int open_file(sqlite3_vfs*, const char* name, sqlite3_file* file, int flags, int* out) {
  file->pMethods = nullptr;
  if (faults.meets()) return SQLITE_CANTOPEN;
  const int result = beneath->xOpen(beneath, name, real(file), flags, out);
  if (result == SQLITE_OK) file->pMethods = &kMethods;
  return result;
}
int remove_file(sqlite3_vfs*, const char* name, int sync) {
  return faults.meets() ? SQLITE_IOERR_DELETE : beneath->xDelete(beneath, name, sync);
}

// Beneath every connection made later in this process.
void put_beneath_sqlite() {
  static sqlite3_vfs vfs;
  if (beneath) return;
  beneath = sqlite3_vfs_find(nullptr);
  vfs = *beneath;
  vfs.zName = "faults";
  vfs.szOsFile = static_cast<int>(sizeof(File)) + beneath->szOsFile;
  vfs.xOpen = open_file;
  vfs.xDelete = remove_file;
  sqlite3_vfs_register(&vfs, 1);
}

class CatalogueSweep : public test::IngestBench, public testing::WithParamInterface<bool> {
 protected:
  ~CatalogueSweep() override {
    faults.fail_at = 0;
    catalogue_.reset();
  }
  void start_anew() {
    faults.fail_at = 0;
    for (auto& disk : disks_) disk = std::make_unique<test::MemFs>();
    file_ = dir_ / ("c" + std::to_string(++runs_) + ".sqlite");
    catalogue_ = *Catalogue::open(file_);
    faults.calls = 0;
  }

  void expect_no_wrong_yes() {
    if (!check_safe().safe) return;
    for (const auto& disk : disks_)
      for (const char* clip : {"C0001", "C0002"})
        EXPECT_EQ(disk->get(at("R001", clip)), card_.get(Path("PRIVATE/M4ROOT/CLIP") / (std::string(clip) + ".MP4")));
  }

  Path file_;
  int runs_ = 0;
};

TEST_P(CatalogueSweep, GivesNoWrongYesWhicheverOperationOfTheCatalogueFails) {
  put_beneath_sqlite();
  start_anew();
  ASSERT_TRUE(offload());
  const int all = faults.calls;
  ASSERT_GT(all, 100);
  const char* said = std::getenv("EVERYTAKE_CATALOGUE_FAULTS");
  const int most = std::min(all, said ? std::atoi(said) : 60);
  int met = 0;
  for (int i = 0; i < most; ++i) {
    const int at = 1 + static_cast<int>(static_cast<long>(i) * all / most);
    SCOPED_TRACE("operation " + std::to_string(at));
    start_anew();
    faults.for_good = GetParam();
    faults.fail_at = at;
    (void)offload();
    met += faults.calls >= at ? 1 : 0;
    faults.fail_at = 0;
    catalogue_.reset();
    auto opened = Catalogue::open(file_);
    ASSERT_TRUE(opened) << opened.error().what;
    catalogue_ = std::move(*opened);
    expect_no_wrong_yes();
    const auto again = offload();
    ASSERT_TRUE(again) << again.error().what;
    const auto verdict = check_safe();
    ASSERT_TRUE(verdict.safe) << verdict.reasons.at(0).message;
  }
  std::cout << met << " operations failed, of " << all << "\n";
  EXPECT_GE(met, most * 8 / 10);  // runs differ a little in their number of operations
}

INSTANTIATE_TEST_SUITE_P(OnceOrForGood, CatalogueSweep, testing::Bool());

}  // namespace
}  // namespace everytake
