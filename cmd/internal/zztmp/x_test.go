package zztmp
import ("testing";"fmt";"context";"os"
"github.com/nightshelf/nightshelf/cmd/internal/backtest")
func TestX(t *testing.T){
 fs,err:=backtest.Folders(os.Getenv("NSDIR")); if err!=nil {t.Fatal(err)}
 rs,err:=backtest.All(context.Background(),fs,backtest.Options{})
 if err!=nil {t.Fatal(err)}
 for _,r:=range rs { fmt.Println(r.Name,r.Calls,r.Readings,len(r.Refused),r.TooLate); for _,a:=range r.Alarms { fmt.Printf("  %s %s since %s raised %s %s\n",a.Finding.Vessel,a.Finding.Class,a.Finding.Since.Format("02T15:04"),a.Raised.Format("02T15:04"),a.Finding.What)} }
}
