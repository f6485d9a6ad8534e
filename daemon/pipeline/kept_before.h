// Files of a card that are kept already, from another folder of it or from a copy of it: known by their bytes.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <stop_token>
#include <string>

#include "catalogue/catalogue.h"
#include "model.h"
#include "offload/hash.h"

namespace everytake::pipeline {

class KeptBefore {
 public:
  // References outlive it. Without `confirm` nothing is read whole, for a look that changes nothing.
  KeptBefore(const catalogue::Catalogue& catalogue, const ReadFs& card, const Listing& listing, bool confirm,
             std::stop_token stop);

  // The row whose bytes these are: a recording by its bytes alone, any other file where name and time agree too. All of
  // it is read, and compared with the digest. nullptr where there is none, or where it can't be read now. Fails only
  // with what ends the card: `gone` or `cancelled`.
  Result<const catalogue::FileRow*> find(const CardFile& file);
  // Whether all bytes of `file` are still those of `row`, which it was known as. Fails as above.
  Result<bool> is_still(const CardFile& file, const catalogue::FileRow& row);

 private:
  // Of all its bytes, which are read once for one file's questions; nullopt where they can't be read.
  Result<std::optional<Digest>> digest_of(const CardFile& file);
  bool may_be(const CardFile& file, const catalogue::FileRow& row) const;
  Result<const std::vector<catalogue::FileRow>*> rows_of_size(std::uint64_t size);

  const catalogue::Catalogue& catalogue_;
  const ReadFs& card_;
  const bool confirm_;
  const std::stop_token stop_;
  std::set<std::string> videos_;  // paths
  std::map<std::uint64_t, std::vector<catalogue::FileRow>> by_size_;
  struct {
    Path path;
    std::optional<Digest> digest;
  } read_last_;
};

}  // namespace everytake::pipeline
