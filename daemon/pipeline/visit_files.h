// The files of a card as a visit meets them: known by their paths there, else by their bytes.
#pragma once

#include <string>
#include <vector>

#include "pipeline/card_lock.h"
#include "pipeline/copy_context.h"
#include "pipeline/copy_status.h"
#include "pipeline/kept_before.h"

namespace everytake::pipeline {

// A file of this visit.
struct VisitFile {
  CardFile file;
  const catalogue::FileRow* row = nullptr;  // nullptr: new
  bool elsewhere = false;                   // the row's file belongs to another card or folder
  bool is_read = false;                     // from a card, to its end, and well
  std::string trouble;                      // with looking at it now
  FileId id;
  std::string roll;  // "R001"

  // Its path in its roll.
  const Path& path() const { return row ? row->file.path : file.path; }
};

// The files of the card, as listed, and what their rows lie in.
struct VisitFiles {
  IndexedFiles known;           // by their paths here
  KeptBefore kept;              // by their bytes, from wherever they were kept
  std::vector<CardLock> locks;  // of other cards whose files are met here
  std::vector<VisitFile> all;
};

// Which of the listed files are known: by their path here, else by their bytes from wherever they were kept. What is
// met so is recorded, and the cards it is from are taken in hand; nothing of that on a dry run. With `read_twice` what
// is another card's is read whole. Fails with what ends the card, `busy` where another process has one of those cards,
// and when the catalogue does.
Result<VisitFiles> recognise_files(const CopyContext& context, const Card& card, const Listing& listing,
                                   const IngestOptions& options);

}  // namespace everytake::pipeline
