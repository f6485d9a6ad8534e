#include "export/sheet_html.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

// HTML Standard, "Escaping a string"; RFC 4648 section 10 for "Zm9v".
TEST(SheetHtml, ShowsWhateverANameHoldsAndObeysNoneOfIt) {
  const auto html = sheet_html("A & B", {{"R001/<script>\"'", "b-roll", "3.0 s", "Ada", "", {"<b>"}, "foo"}});
  EXPECT_EQ(html.find("<script>"), std::string::npos);
  EXPECT_EQ(html.find("<b><"), std::string::npos);
  EXPECT_NE(html.find("R001/&lt;script&gt;&quot;&#39;"), std::string::npos);
  EXPECT_NE(html.find("<title>A &amp; B</title>"), std::string::npos);
  EXPECT_NE(html.find("data:image/jpeg;base64,Zm9v\""), std::string::npos);
}

TEST(SheetHtml, NeedsNothingButItself) {
  const auto html = sheet_html("Saltmarsh Radio", {{"R001/C0001", "", "", "", "", {}, std::nullopt}});
  for (const char* outside : {"http", "<script", "<link", "url("}) EXPECT_EQ(html.find(outside), std::string::npos);
  EXPECT_NE(html.find("no picture"), std::string::npos);
}

}  // namespace
}  // namespace everytake
