package config
import ("testing";"fmt";"path/filepath")
func TestZZ(t *testing.T){ m,_:=filepath.Glob("testdata/bad/*.yaml"); for _,f:=range m { _,err:=Load(f); fmt.Println(err); if err==nil {fmt.Println("!!!! NIL",f)} } }
